//! A recording: WAV, read into memory as one channel.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use headstall::study::fit::sound::{Heard, RATE_MIN_HZ, Refused, hear};

use super::failure::Failure;

/// Longest recording, s.
const LENGTH_MAX_S: u32 = 7200;

/// Samples of one channel, the mean of all.
pub struct Recording {
    samples: Vec<f32>,
    rate_hz: f64,
}

/// Whether the file begins as a WAV file does.
pub fn is_wav(path: &Path) -> Result<bool, Failure> {
    let failed = |e| Failure::reading(&path.display().to_string(), &e);
    let mut start = Vec::new();
    let file = File::open(path).map_err(failed)?;
    file.take(12).read_to_end(&mut start).map_err(failed)?;
    Ok(start.starts_with(b"RIFF") && start.ends_with(b"WAVE"))
}

impl Recording {
    /// Reads a WAV file of whole or floating-point samples.
    pub fn read(path: &Path) -> Result<Self, Failure> {
        let shown = path.display();
        let file = File::open(path);
        let file = file.map_err(|e| Failure::reading(&shown.to_string(), &e))?;
        Self::from(BufReader::new(file), &shown.to_string())
    }

    /// Reads what is in a WAV file of this name.
    pub fn from(bytes: impl Read, name: &str) -> Result<Self, Failure> {
        let unusable = |why: String| Failure::Unusable(format!("{name}: {why}"));
        let failed = |e: hound::Error| unusable(format!("is not a WAV file that can be read: {e}"));
        let wav = hound::WavReader::new(bytes).map_err(failed)?;
        let spec = wav.spec();
        if spec.sample_rate < RATE_MIN_HZ {
            return Err(unusable(format!(
                "has {} samples a second; at least {RATE_MIN_HZ} are needed",
                spec.sample_rate
            )));
        }
        if wav.duration() / spec.sample_rate > LENGTH_MAX_S {
            return Err(unusable(format!(
                "lasts longer than {} hours",
                LENGTH_MAX_S / 3600
            )));
        }
        let channels = usize::from(spec.channels.max(1));
        let samples = match spec.sample_format {
            hound::SampleFormat::Float => mixed(wav.into_samples::<f32>(), channels),
            hound::SampleFormat::Int => {
                let full = (1u64 << (spec.bits_per_sample - 1)) as f32;
                mixed(
                    wav.into_samples::<i32>()
                        .map(|s| s.map(|v| v as f32 / full)),
                    channels,
                )
            }
        };
        Ok(Recording {
            samples: samples.map_err(failed)?,
            rate_hz: f64::from(spec.sample_rate),
        })
    }

    /// Hears the sections of a coupon.
    pub fn hear(&self, sections: usize) -> Result<Heard, Refused> {
        hear(&self.samples, self.rate_hz, sections)
    }
}

/// The mean of all channels. A number that is none counts as silence.
fn mixed(
    samples: impl Iterator<Item = Result<f32, hound::Error>>,
    channels: usize,
) -> Result<Vec<f32>, hound::Error> {
    let mut mixed = Vec::new();
    let (mut sum, mut count) = (0.0, 0);
    for sample in samples {
        let sample = sample?;
        sum += if sample.is_finite() { sample } else { 0.0 };
        count += 1;
        if count == channels {
            mixed.push(sum / channels as f32);
            (sum, count) = (0.0, 0);
        }
    }
    Ok(mixed)
}
