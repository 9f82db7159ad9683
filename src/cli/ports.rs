//! `coilscore ports`: what is plugged in, with the exact text to paste.

use super::{Outcome, print};

/// Prints sound inputs, sound outputs and serial ports.
pub(super) fn run() -> Outcome {
    let mut text = String::new();
    section(&mut text, "sound inputs", &sound(true));
    section(&mut text, "sound outputs", &sound(false));
    section(&mut text, "serial ports", &serial());
    print(&text)
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
    use cpal::traits::{DeviceTrait, HostTrait};
    let devices = cpal::default_host().devices().map_err(|error| error.to_string())?;
    // The list holds converters that are no devices; those have no settings of their own.
    let usable = devices.filter(|device| {
        if inputs {
            device.default_input_config().is_ok()
        } else {
            device.default_output_config().is_ok()
        }
    });
    Ok(usable.filter_map(|device| device.id().ok()).map(|id| id.to_string()).collect())
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
