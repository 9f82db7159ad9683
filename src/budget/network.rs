//! The thermal network: who warms whom, and the box of temperatures that continuous power allows.
//!
//! Nodes are the windings 0..n, the backings n..2n and, where there is one, the enclosure. The
//! conductance matrix G is symmetric, with what each node loses on its diagonal and minus the link
//! between two nodes elsewhere (an M-matrix), so its inverse has no negative entry: more power
//! anywhere is never colder anywhere. Only links that exist are stored.

#![expect(
    clippy::indexing_slicing,
    reason = "index arithmetic over nodes whose links were checked when the network was built"
)]

use super::check::SHORTEST_TIME_CONSTANT_S;
use super::{BudgetError, BudgetSettings};

/// A place in the thermal network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Node {
    /// Winding of the coil with this index.
    Coil(usize),
    /// What lies behind the coil with this index.
    Backing(usize),
    /// The air, case or liquid around all coils.
    Enclosure,
}

/// A link to another node.
#[derive(Debug, Clone, Copy)]
pub(super) struct Link {
    /// The other node.
    pub to: u32,
    /// Conductance, W/K.
    pub conductance: f64,
}

/// The network of one display.
#[derive(Debug, Clone)]
pub(super) struct Network {
    /// Number of coils.
    pub coils: usize,
    /// Per node: all conductances away from it added up, W/K.
    pub loss: Vec<f64>,
    /// Per node: heat capacity, J/K.
    pub heat: Vec<f64>,
    /// Links of node i are `links[starts[i]..starts[i + 1]]`.
    starts: Vec<usize>,
    links: Vec<Link>,
}

/// Where a sum begins, as `Iterator::sum` has it: -0 changes nothing, not even another -0.
const NOTHING: [f64; 2] = [-0.0; 2];

/// Power put into every node that has no winding when the box is computed, relative to a coil's:
/// so small that it changes nothing, and enough that every node's allowed rise is above 0.
const TRACE: f64 = 1e-8;

/// Largest residual of the box equations, relative to the powers.
const RESIDUAL: f64 = 1e-12;

/// The residual below which the last bits stop falling on badly scaled but honest networks.
const ACCEPTED: f64 = 1e-9;

/// What continuous power does, and how much of it all coils may have.
#[derive(Debug, Clone)]
pub(super) struct AllowedBox {
    /// Per node: allowed rise over the room, K.
    pub rise: Vec<f64>,
    /// The share of every coil's full power that it may take for ever.
    pub share: f64,
    /// The node whose limit set the share.
    pub binds: usize,
}

impl Network {
    /// From checked settings.
    pub(super) fn new(settings: &BudgetSettings) -> Result<Self, BudgetError> {
        let coils = settings.coils.len();
        let nodes = 2 * coils + usize::from(settings.enclosure.is_some());
        let mut loss = vec![0.0; nodes];
        let mut heat = vec![0.0; nodes];
        let mut pairs = Vec::new();
        for (index, coil) in settings.coils.iter().enumerate() {
            heat[index] = coil.heat.coil.0;
            heat[coils + index] = coil.heat.backing.0;
            pairs.push((index, coils + index, coil.heat.coil_to_backing.0.recip()));
            let ways = [
                (index, coil.heat.coil_to_around.0.recip()),
                (coils + index, coil.heat.backing_to_around.0.recip()),
            ];
            for (node, conductance) in ways {
                match settings.enclosure {
                    Some(_) => pairs.push((node, 2 * coils, conductance)),
                    None => loss[node] += conductance,
                }
            }
        }
        for pair in &settings.neighbours {
            pairs.push((pair.a.index(), pair.b.index(), pair.coils.0));
            pairs.push((coils + pair.a.index(), coils + pair.b.index(), pair.backings.0));
        }
        if let Some(enclosure) = settings.enclosure {
            heat[2 * coils] = enclosure.heat.0;
            loss[2 * coils] = enclosure.to_room.0.recip();
        }
        let to_room = loss.clone();
        let mut rows = vec![Vec::new(); nodes];
        for (a, b, conductance) in pairs.into_iter().filter(|pair| pair.2 > 0.0) {
            loss[a] += conductance;
            loss[b] += conductance;
            rows[a].push(Link { to: node_number(b), conductance });
            rows[b].push(Link { to: node_number(a), conductance });
        }
        let mut starts = vec![0];
        let mut links = Vec::new();
        for row in rows {
            links.extend(row);
            starts.push(links.len());
        }
        let network = Self { coils, loss, heat, starts, links };
        network.check_ways_out(&to_room)?;
        network.check_time_constants()?;
        Ok(network)
    }

    /// Number of nodes.
    pub(super) fn nodes(&self) -> usize {
        self.loss.len()
    }

    /// Per node: how fast a rise that nothing feeds goes down, 1/s.
    pub(super) fn drains(&self) -> impl Iterator<Item = f64> {
        self.loss.iter().zip(&self.heat).map(|(loss, heat)| loss / heat)
    }

    /// Links of a node.
    pub(super) fn links(&self, node: usize) -> &[Link] {
        &self.links[self.starts[node]..self.starts[node + 1]]
    }

    /// What flows into a node from its neighbours when these are at `values`: sum of |G| times
    /// value.
    #[inline]
    pub(super) fn inflow(&self, node: usize, values: &[f64]) -> f64 {
        self.links(node).iter().map(|link| link.conductance * values[link.to as usize]).sum()
    }

    /// The same for two lots of values at once.
    pub(super) fn inflow_of_two(&self, node: usize, values: &[[f64; 2]]) -> [f64; 2] {
        self.links(node).iter().fold(NOTHING, |[one, other], link| {
            let [a, b] = values[link.to as usize];
            [one + link.conductance * a, other + link.conductance * b]
        })
    }

    /// The same for every node. In a sum each addition waits for the one before it; so a winding's grows
    /// beside its backing's, and that of an enclosure, which all coils warm, between those of the coils.
    pub(super) fn inflows(&self, values: &[f64], out: &mut [f64]) {
        let (windings, rest) = out.split_at_mut(self.coils);
        let (backings, enclosure) = rest.split_at_mut(self.coils);
        let mut chain = if enclosure.is_empty() { &[] } else { self.links(2 * self.coils) };
        let at_once = chain.len().div_ceil(self.coils);
        let flow = |link: &Link| link.conductance * values[link.to as usize];
        let [mut sum, _] = NOTHING;
        for (coil, (winding, backing)) in windings.iter_mut().zip(backings).enumerate() {
            let (one, other) = (self.links(coil), self.links(self.coils + coil));
            let [mut in_one, mut in_other] = NOTHING;
            for (link, beside) in one.iter().zip(other) {
                in_one += flow(link);
                in_other += flow(beside);
            }
            let both = one.len().min(other.len());
            *winding = one[both..].iter().map(flow).fold(in_one, |sum, flow| sum + flow);
            *backing = other[both..].iter().map(flow).fold(in_other, |sum, flow| sum + flow);
            let (now, later) = chain.split_at(at_once.min(chain.len()));
            sum = now.iter().map(flow).fold(sum, |sum, flow| sum + flow);
            chain = later;
        }
        enclosure.fill(sum);
    }

    /// Row of G times `values`.
    pub(super) fn outflow(&self, node: usize, values: &[f64]) -> f64 {
        self.loss[node] * values[node] - self.inflow(node, values)
    }

    /// What a node is called.
    pub(super) fn node(&self, number: usize) -> Node {
        match number.checked_sub(self.coils) {
            None => Node::Coil(number),
            Some(index) if index < self.coils => Node::Backing(index),
            Some(_) => Node::Enclosure,
        }
    }

    /// Rises at which `power` (per node, W) is carried away for ever: G^-1 power, by conjugate
    /// gradients with the diagonal as preconditioner.
    pub(super) fn settled(&self, power: &[f64]) -> Result<Vec<f64>, BudgetError> {
        let nodes = self.nodes();
        let mut rise = vec![0.0; nodes];
        let mut rest = power.to_vec();
        let mut ahead: Vec<f64> = rest.iter().zip(&self.loss).map(|(r, d)| r / d).collect();
        let mut along = ahead.clone();
        let mut out = vec![0.0; nodes];
        let mut weight = dot(&rest, &ahead);
        let size = dot(power, power).sqrt();
        for _ in 0..(20 * nodes + 1000) {
            if dot(&rest, &rest).sqrt() <= RESIDUAL * size {
                break;
            }
            for (node, slot) in out.iter_mut().enumerate() {
                *slot = self.outflow(node, &along);
            }
            let stride = weight / dot(&along, &out);
            if !stride.is_finite() {
                break;
            }
            for node in 0..nodes {
                rise[node] += stride * along[node];
                rest[node] -= stride * out[node];
                ahead[node] = rest[node] / self.loss[node];
            }
            let next = dot(&rest, &ahead);
            for node in 0..nodes {
                along[node] = ahead[node] + next / weight * along[node];
            }
            weight = next;
        }
        let left = |node: usize| power[node] - self.outflow(node, &rise);
        let off = (0..nodes).map(|node| left(node) * left(node)).sum::<f64>().sqrt();
        let sound = rise.iter().all(|value| value.is_finite() && *value >= 0.0);
        if sound && off <= ACCEPTED * size { Ok(rise) } else { Err(BudgetError::Unsolved) }
    }

    /// The box: rises of full power on all coils (`full_w`), scaled down together until no node
    /// passes `allowed` (per node, K; infinite where there is no limit).
    ///
    /// Scaling them together is what makes the box safe: at its corner the network is at rest
    /// under continuous power, so with that power or less nothing inside it can ever leave it. A
    /// box of each node's own limit is not safe, as a hot winding goes on warming its backing after
    /// it is switched off.
    pub(super) fn allowed_box(
        &self,
        full_w: &[f64],
        allowed: &[f64],
    ) -> Result<AllowedBox, BudgetError> {
        let trace_w = TRACE * full_w.iter().sum::<f64>() / full_w.len() as f64;
        let mut power = vec![trace_w; self.nodes()];
        power[..self.coils].copy_from_slice(full_w);
        let mut rise = self.settled(&power)?;
        let (mut share, mut binds) = (f64::INFINITY, 0);
        for (node, (full, most)) in rise.iter().zip(allowed).enumerate() {
            if most / full < share {
                (share, binds) = (most / full, node);
            }
        }
        rise.iter_mut().for_each(|value| *value *= share);
        let sound = share > 0.0 && rise.iter().all(|value| value.is_finite() && *value > 0.0);
        if sound { Ok(AllowedBox { rise, share, binds }) } else { Err(BudgetError::Unsolved) }
    }

    /// Every node must reach the room over links, or its heat piles up without end.
    fn check_ways_out(&self, to_room: &[f64]) -> Result<(), BudgetError> {
        let mut reached: Vec<bool> = to_room.iter().map(|out| *out > 0.0).collect();
        let mut open: Vec<usize> = (0..self.nodes()).filter(|&node| reached[node]).collect();
        while let Some(node) = open.pop() {
            for link in self.links(node) {
                let next = link.to as usize;
                if !reached[next] {
                    reached[next] = true;
                    open.push(next);
                }
            }
        }
        match reached.iter().position(|&out| !out) {
            None => Ok(()),
            Some(node) => Err(BudgetError::NoWayOut {
                coil: node % self.coils,
                part: if node < self.coils { "winding" } else { "backing" },
            }),
        }
    }

    /// Windings and backings faster than a millisecond are slipped units and would cost endless
    /// steps.
    fn check_time_constants(&self) -> Result<(), BudgetError> {
        for node in 0..self.nodes() {
            let value = self.heat[node] / self.loss[node];
            let fits = value >= SHORTEST_TIME_CONSTANT_S;
            let cure = "its heat capacity and heat paths do not belong together: check J/K and K/W";
            match self.node(node) {
                _ if fits => {}
                Node::Coil(coil) => {
                    let what = "the winding's time constant (s)";
                    return Err(BudgetError::Coil { coil, what, value, cure });
                }
                Node::Backing(coil) => {
                    let what = "the backing's time constant (s)";
                    return Err(BudgetError::Coil { coil, what, value, cure });
                }
                Node::Enclosure => {
                    let what = "the enclosure's time constant (s)";
                    return Err(BudgetError::Display { what, value, cure });
                }
            }
        }
        Ok(())
    }
}

/// Node numbers fit 32 bits: coils are counted in 32 bits and a display has far fewer.
fn node_number(node: usize) -> u32 {
    u32::try_from(node).unwrap_or(u32::MAX)
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Five coils in a row; every second winding gives heat to the enclosure too.
    fn row_of_five() -> Network {
        let mut rows: Vec<Vec<Link>> = vec![Vec::new(); 11];
        let mut link = |a: usize, b: usize| {
            let conductance = 0.1 + ((a * 7 + b * 3) % 10) as f64 / 13.0;
            rows[a].push(Link { to: node_number(b), conductance });
            rows[b].push(Link { to: node_number(a), conductance });
        };
        for coil in 0..5 {
            link(coil, 5 + coil);
            link(5 + coil, 10);
            if coil % 2 == 0 {
                link(coil, 10);
            }
            if coil > 0 {
                link(coil - 1, coil);
                link(4 + coil, 5 + coil);
            }
        }
        let mut starts = vec![0];
        let mut links = Vec::new();
        for row in rows {
            links.extend(row);
            starts.push(links.len());
        }
        Network { coils: 5, loss: vec![3.0; 11], heat: vec![4.0; 11], starts, links }
    }

    /// To the last bit: duty files must not hang on which of the three a stage calls.
    #[test]
    fn all_ways_of_adding_up_what_flows_in_agree() {
        let network = row_of_five();
        let values: Vec<f64> = (0..11_u32).map(|node| libm::exp(f64::from(node) / 3.0)).collect();
        let two: Vec<[f64; 2]> = values.iter().map(|value| [1.0 / value, *value]).collect();
        let mut all = vec![f64::NAN; 11];
        network.inflows(&values, &mut all);
        for (node, inflow) in all.iter().enumerate() {
            let one = network.inflow(node, &values);
            assert_eq!(inflow.to_bits(), one.to_bits(), "node {node}");
            assert_eq!(network.inflow_of_two(node, &two)[1].to_bits(), one.to_bits());
        }
    }
}
