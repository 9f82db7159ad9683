//! Inputs and outputs by the text that people paste.

use cpal::traits::{DeviceTrait, HostTrait};
use thiserror::Error;

use super::super::SoundFormat;

/// What a device says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// The text to paste.
    pub id: String,
    /// What the system calls it.
    pub name: String,
    /// Rate and channels it has when nothing else is asked for.
    pub format: SoundFormat,
    /// True for the one that the system takes when none is named.
    pub is_default: bool,
}

/// Why there is no such input.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum FindError {
    /// The sound system does not answer.
    #[error("the sound system does not answer: {0}; is it running?")]
    System(String),
    /// Nothing to choose from.
    #[error("there is no sound input: plug one in, or start the sound system")]
    Nothing,
    /// No output to choose from.
    #[error("there is no sound output: plug one in, or start the sound system")]
    NoOutput,
    /// No output has this text.
    #[error("no sound output \"{wanted}\"; {}", there(.near))]
    UnknownOutput {
        /// As typed.
        wanted: String,
        /// What comes closest, or all.
        near: Vec<String>,
    },
    /// No input has this text.
    #[error("no sound input \"{wanted}\"; {}", there(.near))]
    Unknown {
        /// As typed.
        wanted: String,
        /// What comes closest, or all.
        near: Vec<String>,
    },
    /// Several inputs have it.
    #[error("\"{wanted}\" is part of {}: give more of it", quoted(.matching))]
    Ambiguous {
        /// As typed.
        wanted: String,
        /// All that have it.
        matching: Vec<String>,
    },
}

impl FindError {
    /// What was said of inputs, of outputs.
    fn of_output(self) -> Self {
        match self {
            Self::Nothing => Self::NoOutput,
            Self::Unknown { wanted, near } => Self::UnknownOutput { wanted, near },
            other => other,
        }
    }
}

fn there(near: &[String]) -> String {
    format!("there is {}; `coilscore ports` shows all", quoted(near))
}

fn quoted(names: &[String]) -> String {
    names.iter().map(|name| format!("\"{name}\"")).collect::<Vec<_>>().join(", ")
}

/// All inputs that can be opened now.
///
/// # Errors
/// When the sound system does not answer.
pub fn inputs() -> Result<Vec<Listed>, FindError> {
    list(cpal::Device::default_input_config, cpal::default_host().default_input_device())
}

/// All outputs that can be opened now.
///
/// # Errors
/// When the sound system does not answer.
pub fn outputs() -> Result<Vec<Listed>, FindError> {
    list(cpal::Device::default_output_config, cpal::default_host().default_output_device())
}

/// The list holds converters that are no devices; those have no settings of their own.
fn list(
    config: impl Fn(&cpal::Device) -> Result<cpal::SupportedStreamConfig, cpal::Error>,
    default: Option<cpal::Device>,
) -> Result<Vec<Listed>, FindError> {
    let default = default.and_then(|device| device.id().ok()).map(|id| id.to_string());
    let system = |error: cpal::Error| FindError::System(error.to_string());
    let devices = cpal::default_host().devices().map_err(system)?;
    Ok(devices
        .filter_map(|device| {
            let config = config(&device).ok()?;
            let id = device.id().ok()?.to_string();
            let name = device.description().map_or_else(|_| id.clone(), |d| d.name().to_owned());
            let format = SoundFormat { rate_hz: config.sample_rate(), channels: config.channels() };
            Some(Listed { is_default: Some(&id) == default.as_ref(), id, name, format })
        })
        .collect())
}

/// The device to open for what was typed: its exact text, a part of text or name that only one
/// input has, or nothing for the system's own choice.
pub(super) fn find(wanted: Option<&str>) -> Result<(cpal::Device, String), FindError> {
    let host = cpal::default_host();
    let Some(wanted) = wanted else {
        let device = host.default_input_device().ok_or(FindError::Nothing)?;
        let id = device.id().map_or_else(|_| "the system's input".into(), |id| id.to_string());
        return Ok((device, id));
    };
    if let Some(device) = wanted.parse().ok().and_then(|id| host.device_by_id(&id)) {
        return Ok((device, wanted.to_owned()));
    }
    let id = pick(wanted, &inputs()?)?;
    let device = id.parse().ok().and_then(|id| host.device_by_id(&id));
    device.map(|device| (device, id)).ok_or(FindError::Nothing)
}

/// The output to open for what was typed, as [`find`] does for inputs.
pub(in crate::audio) fn find_output(wanted: &str) -> Result<(cpal::Device, String), FindError> {
    let host = cpal::default_host();
    if let Some(device) = wanted.parse().ok().and_then(|id| host.device_by_id(&id)) {
        return Ok((device, wanted.to_owned()));
    }
    let id = pick(wanted, &outputs()?).map_err(FindError::of_output)?;
    let device = id.parse().ok().and_then(|id| host.device_by_id(&id));
    device.map(|device| (device, id)).ok_or(FindError::NoOutput)
}

/// The text of the one input that is meant.
fn pick(wanted: &str, listed: &[Listed]) -> Result<String, FindError> {
    if listed.is_empty() {
        return Err(FindError::Nothing);
    }
    let wanted_low = wanted.to_lowercase();
    let exact = |input: &&Listed| input.id == wanted || input.name == wanted;
    if let Some(input) = listed.iter().find(exact) {
        return Ok(input.id.clone());
    }
    let part = |input: &&Listed| {
        input.id.to_lowercase().contains(&wanted_low)
            || input.name.to_lowercase().contains(&wanted_low)
    };
    let matching: Vec<String> = listed.iter().filter(part).map(|input| input.id.clone()).collect();
    match matching.as_slice() {
        [one] => Ok(one.clone()),
        [] => Err(FindError::Unknown { wanted: wanted.into(), near: nearest(&wanted_low, listed) }),
        _ => Err(FindError::Ambiguous { wanted: wanted.into(), matching }),
    }
}

/// Texts that differ least, three at most.
fn nearest(wanted: &str, listed: &[Listed]) -> Vec<String> {
    let far = |text: &str| strsim::normalized_damerau_levenshtein(wanted, &text.to_lowercase());
    let likeness = |input: &Listed| far(&input.id).max(far(&input.name));
    let mut ranked: Vec<(f64, &Listed)> = listed.iter().map(|one| (likeness(one), one)).collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    ranked.iter().take(3).map(|(_, input)| input.id.clone()).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    fn listed(id: &str, name: &str) -> Listed {
        let format = SoundFormat { rate_hz: 48_000, channels: 2 };
        Listed { id: id.into(), name: name.into(), format, is_default: false }
    }

    #[test]
    fn inputs_are_found_by_text_by_name_and_by_a_part_that_is_theirs_alone() {
        let inputs = [
            listed("alsa:hw:CARD=Line,DEV=0", "Stereo line in"),
            listed("alsa:hw:CARD=Mic,DEV=0", "Microphone"),
            listed("alsa:default", "Default"),
        ];
        let found = |wanted| pick(wanted, &inputs);
        assert_eq!(found("alsa:default").as_deref(), Ok("alsa:default"));
        assert_eq!(found("Microphone").as_deref(), Ok("alsa:hw:CARD=Mic,DEV=0"));
        assert_eq!(found("line").as_deref(), Ok("alsa:hw:CARD=Line,DEV=0"));
        let error = found("alsa:hw").unwrap_err();
        assert!(matches!(&error, FindError::Ambiguous { matching, .. } if matching.len() == 2));
        assert!(error.to_string().contains("give more of it"), "{error}");
        let error = found("alsa:defualt").unwrap_err().to_string();
        assert!(error.contains("there is \"alsa:default\","), "the nearest comes first: {error}");
        assert_eq!(pick("line", &[]), Err(FindError::Nothing));
    }
}
