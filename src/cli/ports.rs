//! `coilscore ports`: what is plugged in, with the exact text to paste.

use super::{Outcome, print};

/// Prints sound inputs, sound outputs and serial ports; what stands before the bracket is to be
/// pasted.
pub(super) fn run() -> Outcome {
    if let Some(text) = without_noise() {
        return print(&text);
    }
    let mut text = String::new();
    section(&mut text, "sound inputs", &sound(true));
    section(&mut text, "sound outputs", &sound(false));
    section(&mut text, "serial ports", &serial());
    print(&text)
}

/// Set for the run inside a run.
const INNER: &str = "COILSCORE_PORTS_INNER";

/// The same, found by a run of its own whose standard error goes nowhere: while they look for
/// devices, sound libraries write complaints there that help nobody, and no setting stops them.
fn without_noise() -> Option<String> {
    use std::process::{Command, Stdio};
    if std::env::var_os(INNER).is_some() {
        return None;
    }
    let mut command = Command::new(std::env::current_exe().ok()?);
    command.arg("ports").env(INNER, "1").stdin(Stdio::null()).stderr(Stdio::null());
    let run = command.output().ok().filter(|run| run.status.success())?;
    String::from_utf8(run.stdout).ok()
}

/// A list, or the reason why there is none.
type Found = Result<Vec<String>, String>;

fn section(text: &mut String, title: &str, found: &Found) {
    text.push_str(title);
    text.push('\n');
    match found {
        Ok(names) if names.is_empty() => text.push_str("  none found\n"),
        Ok(names) => names.iter().for_each(|name| {
            text.push_str("  ");
            text.push_str(name);
            text.push('\n');
        }),
        Err(reason) => {
            text.push_str("  not known: ");
            text.push_str(reason);
            text.push('\n');
        }
    }
}

#[cfg(feature = "capture")]
fn sound(inputs: bool) -> Found {
    use coilscore::audio::capture::devices;
    let listed = if inputs { devices::inputs() } else { devices::outputs() };
    let listed = listed.map_err(|error| error.to_string())?;
    let widest = listed.iter().map(|device| device.id.len()).max().unwrap_or(0);
    let line = |device: &devices::Listed| {
        let default = if device.is_default { ", taken when none is named" } else { "" };
        let name = if device.id.contains(&device.name) { "" } else { &device.name };
        let between = if name.is_empty() { "" } else { "; " };
        let (rate_hz, channels) = (device.format.rate_hz, device.format.channels);
        format!(
            "{:widest$}  ({rate_hz} Hz, {channels} channels{between}{name}{default})",
            device.id
        )
    };
    Ok(listed.iter().map(line).collect())
}

#[cfg(not(feature = "capture"))]
fn sound(_inputs: bool) -> Found {
    Err("built without the feature 'capture'".into())
}

#[cfg(feature = "serial")]
fn serial() -> Found {
    let ports = serialport::available_ports().map_err(|error| error.to_string())?;
    Ok(ports.into_iter().map(|port| port.port_name).collect())
}

#[cfg(not(feature = "serial"))]
fn serial() -> Found {
    Err("built without the feature 'serial'".into())
}
