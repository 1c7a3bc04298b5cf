//! A recording's power in bands over time.

use realfft::RealFftPlanner;

/// Bands, equal in log frequency.
pub const BANDS: usize = 32;
/// Lowest and highest frequency, Hz.
const FREQUENCIES_HZ: [f64; 2] = [80.0, 14_000.0];
/// Length of a window, s: 1024 samples at 44.1 kHz.
const WINDOW_S: f64 = 1024.0 / 44_100.0;
/// Windows overlap so that one begins at each quarter of the one before.
const OVERLAP: usize = 4;

/// Power in bands, one row for each window.
#[derive(Clone, Debug)]
pub struct Spectrum {
    /// log10 of the mean power in each band.
    pub rows: Vec<[f32; BANDS]>,
    /// Time from one row to the next, s.
    pub hop_s: f64,
}

/// The spectrum of a recording of one channel; `rate_hz`: samples a second.
pub fn spectrum(samples: &[f32], rate_hz: f64) -> Spectrum {
    let hop = ((WINDOW_S * rate_hz / OVERLAP as f64).round() as usize).max(1);
    let window = hop * OVERLAP;
    let top_hz = FREQUENCIES_HZ[1].min(0.45 * rate_hz);
    let edge = |k: usize| {
        let part = k as f64 / BANDS as f64;
        let hz = FREQUENCIES_HZ[0] * (top_hz / FREQUENCIES_HZ[0]).powf(part);
        (hz * window as f64 / rate_hz).floor() as usize
    };
    let bins: Vec<[usize; 2]> = (0..BANDS)
        .map(|k| [edge(k), edge(k + 1).max(edge(k) + 1)])
        .collect();
    // Hann's window.
    let weights: Vec<f32> = (0..window)
        .map(|k| {
            let turn = std::f64::consts::TAU * k as f64 / (window - 1) as f64;
            (0.5 - 0.5 * turn.cos()) as f32
        })
        .collect();
    let fft = RealFftPlanner::<f32>::new().plan_fft_forward(window);
    let (mut input, mut output) = (fft.make_input_vec(), fft.make_output_vec());
    let mut scratch = fft.make_scratch_vec();
    let count = (samples.len() + hop).saturating_sub(window) / hop;
    let mut rows = Vec::with_capacity(count);
    for k in 0..count {
        let piece = samples[k * hop..].iter().zip(&weights);
        for (to, (sample, weight)) in input.iter_mut().zip(piece) {
            *to = sample * weight;
        }
        // The lengths are the plan's own.
        let _ = fft.process_with_scratch(&mut input, &mut output, &mut scratch);
        let mut row = [0.0; BANDS];
        for (to, [from, end]) in row.iter_mut().zip(&bins) {
            let power: f32 = output[*from..(*end).min(output.len())]
                .iter()
                .map(|c| c.norm_sqr())
                .sum();
            *to = (power / (end - from) as f32 + 1e-12).log10();
        }
        rows.push(row);
    }
    Spectrum {
        rows,
        hop_s: hop as f64 / rate_hz,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tone of amplitude 1 has the power (N/4)² in its bin under Hann's window of N samples (its sum is N/2).
    #[test]
    fn a_tone_stands_in_its_band() {
        let (rate_hz, hz) = (44_100.0, 1000.0);
        let tone: Vec<f32> = (0..44_100)
            .map(|k| (std::f64::consts::TAU * hz * f64::from(k) / rate_hz).sin() as f32)
            .collect();
        let found = spectrum(&tone, rate_hz);
        assert!((found.hop_s - 256.0 / 44_100.0).abs() < 1e-12);
        let row = found.rows[40];
        let band = (0..BANDS)
            .max_by(|a, b| row[*a].total_cmp(&row[*b]))
            .unwrap();
        let expected = BANDS as f64 * (hz / 80.0f64).ln() / (14_000.0f64 / 80.0).ln();
        assert!((band as f64 - expected).abs() < 1.5, "{band} {expected}");
        let power = 10f64.powf(f64::from(row[band]));
        let whole = (1024.0f64 / 4.0).powi(2);
        assert!(
            power > 0.2 * whole && power < 1.2 * whole,
            "{power} {whole}"
        );
    }
}
