#include "speaker_sound.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <numbers>
#include <utility>

#include "recorder.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/dsp/resample.hpp"
#include "speaker_model.hpp"

namespace ringtrue {
namespace {

constexpr double roll_off_from = 0.45;  // of the sample rate
constexpr double longest_response_s = 10.0;

/// The converters' filters: 1 up to 0.45 of the sample rate, then half a cosine down to 0 at half of it.
double converter_gain(double frequency_per_rate) {
  const double share = (frequency_per_rate - roll_off_from) / (0.5 - roll_off_from);
  return share <= 0.0 ? 1.0 : 0.5 + 0.5 * std::cos(std::numbers::pi * std::min(share, 1.0));
}

/// Whole frames of a delay, and what is left: 0 <= rest < 1.
std::pair<std::int64_t, double> split(double frames) {
  const double whole = std::floor(frames);
  return {static_cast<std::int64_t>(whole), frames - whole};
}

struct FileChannel {
  std::string path;
  std::size_t channel = 0;  // from 0
};

FileChannel parse_file_channel(const std::string& name) {
  const std::size_t hash = name.rfind('#');
  if (hash == std::string::npos) return {name, 0};
  std::size_t channel = 0;
  const char* const end = name.data() + name.size();
  const auto [stop, error] = std::from_chars(name.data() + hash + 1, end, channel);
  if (error != std::errc{} || stop != end || channel == 0) return {name, 0};  // a '#' of the name itself
  return {name.substr(0, hash), channel - 1};
}

/// One channel as double at the wanted rate. A sampled response is the continuous one times the sample period, which
/// the conversion changes.
std::vector<double> read_response(const FileChannel& source, double sample_rate_hz) {
  const Sound sound = read_sound(source.path);
  if (source.channel >= sound.channels.size()) {
    throw InvalidInput{source.path,
                       fmt::format("has {} channels, so no channel {} for an impulse response", sound.channels.size(),
                                   source.channel + 1),
                       "correct the # number"};
  }
  const std::vector<float>& channel = sound.channels[source.channel];
  if (static_cast<double>(channel.size()) > longest_response_s * sound.sample_rate_hz) {
    throw InvalidInput{source.path, "is longer than 10 s", "give an impulse response, cut to its decay"};
  }
  const std::vector<double> samples(channel.begin(), channel.end());
  std::vector<double> converted = resample(samples, sound.sample_rate_hz, sample_rate_hz);
  for (double& sample : converted) sample *= sound.sample_rate_hz / sample_rate_hz;
  return converted;
}

double peak_of(std::span<const double> samples) {
  double peak = 0.0;
  for (const double sample : samples) peak = std::max(peak, std::abs(sample));
  return peak;
}

}  // namespace

SpeakerResponse modelled_response(const VirtualSpeaker& speaker, const ImageSources& room, Point place_m,
                                  Point microphone_m, double sample_rate_hz) {
  const RealFft& fft = room.fft();
  const auto [whole, rest] = split(speaker.extra_delay_ms * 1e-3 * sample_rate_hz);
  std::vector<std::complex<double>> bins = room.response(place_m, microphone_m);
  for (std::size_t k = 0; k < bins.size(); ++k) {
    const double cycles_per_sample = static_cast<double>(k) / static_cast<double>(fft.size());
    const std::complex<double> delay =
        std::polar(converter_gain(cycles_per_sample), -2.0 * std::numbers::pi * rest * cycles_per_sample);
    bins[k] *= delay * speaker_response(speaker, cycles_per_sample * sample_rate_hz);
  }
  SpeakerResponse response{std::vector<double>(fft.size()), static_cast<std::int64_t>(room.lead_frames()) - whole};
  fft.inverse(bins, response.samples);
  return response;
}

SpeakerResponse measured_response(const VirtualSpeaker& speaker, std::size_t position, double sample_rate_hz) {
  if (position >= speaker.impulse_response_files.size()) {
    throw InvalidInput{"speaker " + speaker.label,
                       fmt::format("no impulse response file for position {}", position + 1),
                       "give one file per mic position of the rig"};
  }
  const auto source = parse_file_channel(speaker.impulse_response_files[position]);
  std::vector<double> samples = read_response(source, sample_rate_hz);
  const double gain = (speaker.inverted ? -1.0 : 1.0) * amplitude_ratio(Decibels{speaker.gain_db});
  for (double& sample : samples) sample *= gain;
  const auto [whole, rest] = split(speaker.extra_delay_ms * 1e-3 * sample_rate_hz);
  if (rest == 0.0) return {std::move(samples), -whole};
  constexpr std::int64_t margin = 64;  // the interpolator's kernel reaches half as far
  const std::size_t frames = samples.size() + 2 * margin;
  return {sample_at(samples, -rest - static_cast<double>(margin), 1.0, frames, 1), margin - whole};
}

DrivenShape::DrivenShape(std::span<const double> shape, std::shared_ptr<const RealFft> fft)
    : peak_{peak_of(shape)}, frames_{shape.size()}, fft_{std::move(fft)}, bins_{spectrum(*fft_, shape)} {}

std::vector<std::complex<double>> DrivenShape::harmonics(const VirtualSpeaker& speaker) const {
  const RealFft twice{2 * fft_->size()};
  std::vector<std::complex<double>> bins(twice.bin_count());
  for (std::size_t k = 0; k < bins_.size(); ++k) bins[k] = 2.0 * bins_[k];  // same samples, as many again in between
  std::vector<double> samples(twice.size());
  twice.inverse(bins, samples);
  const double h2 = 0.01 * speaker.second_harmonic_percent;
  const double h3 = 0.01 * speaker.third_harmonic_percent;
  for (double& sample : samples) {
    const double u = sample / peak_;
    sample = peak_ * (h2 * 2.0 * u * u + h3 * (4.0 * u * u * u - 3.0 * u));
  }
  twice.forward(samples, bins);
  bins.resize(bins_.size());
  for (auto& bin : bins) bin *= 0.5;
  return bins;
}

std::vector<double> DrivenShape::through(std::span<const double> response, const VirtualSpeaker& speaker) const {
  Spectrum bins = spectrum(*fft_, response);
  if (speaker.second_harmonic_percent == 0.0 && speaker.third_harmonic_percent == 0.0) {
    for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= bins_[k];
  } else {
    const std::vector<std::complex<double>> added = harmonics(speaker);
    for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= bins_[k] + added[k];
  }
  std::vector<double> samples(fft_->size());
  fft_->inverse(bins, samples);
  samples.resize(std::min(samples.size(), frames_ + response.size()));
  return samples;
}

}  // namespace ringtrue
