//! `--inputs`: what a live run was given besides its sound.

use coilscore::shown::Shown as _;
use std::path::Path;

use coilscore::audio::SoundFormat;
use coilscore::frame::record::Inputs;
use coilscore::run::RenderJob;
use coilscore::sink::file::open;

use super::Failure;

/// Reads the duty file that a live run recorded, whole or `.part`, and refuses one that this job
/// would not make again.
pub(super) fn read(
    path: &Path,
    job: &RenderJob<'_>,
    sound: SoundFormat,
) -> Result<Inputs, Failure> {
    let mut file = open(path).map_err(Failure::refused)?;
    let head = file.head();
    let (num, den) = job.rate.ratio();
    let differs = [
        (head.display_digest != job.display.digest_hex(), "it was made for another display"),
        (head.mapping_digest != job.mapping.digest_hex(), "it was made with another mapping"),
        (head.rate != [num, den], "it has another frame rate: give its own as --rate"),
        (
            head.sound_rate_hz != sound.rate_hz || head.sound_channels != sound.channels,
            "it heard sound of another rate or other channels",
        ),
    ];
    if let Some((_, why)) = differs.into_iter().find(|(differs, _)| *differs) {
        return Err(Failure::Refused(format!("--inputs {}: {why}", path.shown())));
    }
    while let Some(_entry) = file.next_entry().map_err(Failure::failed)? {}
    if file.inputs().start.is_none() {
        return Err(Failure::Refused(format!(
            "--inputs {}: it does not say how the run started: it was rendered, or tuned, where \
             changes are not kept",
            path.shown()
        )));
    }
    Ok(file.inputs().clone())
}
