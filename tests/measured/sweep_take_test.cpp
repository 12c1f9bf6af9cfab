#include "measured_ring.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/response/arrival.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/takes.hpp"

// Somebody else's sweep, its electrical loopback, what a microphone recorded, and the impulse response its authors made
// of it. The sweep is not one of ours (another start, hardly any fades), so the deconvolver is used by itself.

namespace ringtrue {
namespace {

using namespace test;

constexpr double take_rate_hz = 44'100.0;
constexpr double loopback_latency = 12'640.0;  // frames, the data's README
const ResponseWindow window{0.3, 0.5};         // early enough to show the harmonics of order 2 and 3

struct SweepTake {
  std::vector<double> loopback;
  std::vector<double> microphone;
  std::vector<double> published;
  std::size_t zero = 0;
  double rate_constant_s = 0.0;
};

std::vector<float> channel_of(const std::filesystem::path& path) { return read_sound(path).channels.front(); }

std::optional<SweepTake> deconvolved_take() {
  const auto folder = measured_folder("sweep_take");
  if (!folder) return {};
  const auto excitation = channel_of(*folder / "excitation_ess_50-22050Hz.wav");
  const double seconds = static_cast<double>(excitation.size()) / take_rate_hz;
  const Seconds rate_constant{seconds / std::log(22'050.0 / 50.0)};
  const SweepShape shape{{excitation.begin(), excitation.end()}, {Hertz{50.0}, Hertz{22'050.0}}, rate_constant};
  const Deconvolver deconvolver{shape, take_rate_hz, take_rate_hz, window};
  const auto published = channel_of(*folder / "published_impulse_response.wav");
  const auto response_in = [&](const char* file) {
    const auto h = deconvolver.response(channel_of(*folder / file), loopback_latency);
    return std::vector<double>{h.begin(), h.end()};
  };
  return SweepTake{response_in("recorded_loopback.wav"),
                   response_in("recorded_mic.wav"),
                   {published.begin(), published.end()},
                   deconvolver.zero_index(),
                   rate_constant.value()};
}

double arrival_frames(const std::vector<double>& h, std::size_t zero) {
  const std::vector<float> single(h.begin(), h.end());
  const auto arrival = full_range_arrival(combine(single, single, take_rate_hz, zero), {Hertz{80.0}, Hertz{18'000.0}});
  REQUIRE(arrival);
  return arrival->index - static_cast<double>(zero);
}

std::ptrdiff_t highest(std::span<const double> h) {
  return std::ranges::max_element(h, [](double a, double b) { return std::abs(a) < std::abs(b); }) - h.begin();
}

/// What the microphone heard of what left the sound card: microphone over loopback, frame 0 the loopback's arrival.
Spectrum transfer_function(const SweepTake& take, const RealFft& fft) {
  auto ratio = spectrum(fft, std::span<const double>{take.microphone});
  const auto loopback = spectrum(fft, std::span<const double>{take.loopback});
  for (std::size_t k = 0; k < ratio.size(); ++k) ratio[k] /= loopback[k];
  return ratio;
}

}  // namespace

TEST_SUITE_BEGIN("measured");

TEST_CASE("another's sweep: latency, time of flight and harmonics are the published ones") {
  const auto take = deconvolved_take();
  if (!take) return;
  const auto zero = static_cast<std::ptrdiff_t>(take->zero);
  CHECK(highest(take->loopback) == zero);          // latency 12640 frames
  CHECK(highest(take->microphone) == zero + 437);  // peak at 13077
  CHECK(std::abs(arrival_frames(take->loopback, take->zero)) < 0.3);
  // Microphone minus loopback by three of the data's own ways: 436 to 437.5 frames.
  const double flight = arrival_frames(take->microphone, take->zero) - arrival_frames(take->loopback, take->zero);
  CHECK(flight > 435.0);
  CHECK(flight < 438.0);
  // Harmonic k stands L ln(k) before the response (A. Farina 2000): peaks -61.8 and -57.2 dB under it, the README
  // says; another regularisation moves such peaks by some tenths of a dB.
  const double peak = std::abs(take->microphone[static_cast<std::size_t>(zero + 437)]);
  const auto harmonic_db = [&](double order) {
    const double early = take->rate_constant_s * std::log(order) * take_rate_hz;
    const auto middle = static_cast<std::size_t>(static_cast<double>(zero + 437) - early);
    const auto around = std::span{take->microphone}.subspan(middle - 220, 441);  // 5 ms to each side
    return 20.0 * std::log10(std::abs(around[static_cast<std::size_t>(highest(around))]) / peak);
  };
  CHECK(std::abs(harmonic_db(2.0) + 61.8) < 1.0);
  CHECK(std::abs(harmonic_db(3.0) + 57.2) < 1.0);
}

TEST_CASE("another's sweep: our response is the published one") {
  const auto take = deconvolved_take();
  if (!take) return;
  // Theirs: microphone over loopback, high-passed at 40 Hz (8th order), normalised. So between 125 Hz and 16 kHz one
  // gain remains, and above 1 kHz, where their high-pass no longer turns phases, one waveform.
  const RealFft fft{good_fft_size(2 * take->microphone.size())};
  auto ours = transfer_function(*take, fft);
  const auto theirs = spectrum(fft, std::span<const double>{take->published});
  const double df = take_rate_hz / static_cast<double>(fft.size());
  std::vector<double> gains_db;
  for (double centre = 125.0; centre < 17'000.0; centre *= 2.0) {
    double a = 0.0;
    double b = 0.0;
    for (auto k = static_cast<std::size_t>(centre / std::numbers::sqrt2 / df);
         k < static_cast<std::size_t>(centre * std::numbers::sqrt2 / df) && static_cast<double>(k) * df < 18'000.0;
         ++k) {
      a += std::norm(ours[k]);
      b += std::norm(theirs[k]);
    }
    gains_db.push_back(10.0 * std::log10(a / b));
  }
  CHECK(spread_of(gains_db) < 0.02);  // theirs fades out from 0.5 s on, where ours is cut: hundredths of a dB

  std::complex<double> both = 0.0;
  double a = 0.0;
  double b = 0.0;
  for (auto k = static_cast<std::size_t>(1'000.0 / df); static_cast<double>(k) * df < 18'000.0; ++k) {
    both += ours[k] * std::conj(theirs[k]);
    a += std::norm(ours[k]);
    b += std::norm(theirs[k]);
  }
  CHECK(both.real() / std::sqrt(a * b) > 0.998);
}

TEST_SUITE_END();

}  // namespace ringtrue
