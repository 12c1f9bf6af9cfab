#include "portaudio.hpp"

#include <fmt/format.h>
#include <portaudio.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

constexpr std::array standard_rates_hz{44'100.0, 48'000.0, 88'200.0, 96'000.0, 176'400.0, 192'000.0};
constexpr int most_opened = 64;  // channels; virtual devices claim 128 and more, of which only the needed are opened

std::string api_word(PaHostApiTypeId type) {
  switch (type) {
    case paDirectSound: return "directsound";
    case paMME: return "mme";
    case paASIO: return "asio";
    case paCoreAudio: return "coreaudio";
    case paOSS: return "oss";
    case paALSA: return "alsa";
    case paWDMKS: return "wdmks";
    case paJACK: return "jack";
    case paWASAPI: return "wasapi";
    default: return "other";
  }
}

PaStreamParameters parameters(PaDeviceIndex device, int channels, bool input) {
  const PaDeviceInfo* const info = Pa_GetDeviceInfo(device);
  return {device, channels, paFloat32, input ? info->defaultHighInputLatency : info->defaultHighOutputLatency, nullptr};
}

std::vector<double> rates_of(PaDeviceIndex device) {
  const PaDeviceInfo* const info = Pa_GetDeviceInfo(device);
  const auto output = parameters(device, info->maxOutputChannels, false);
  const auto input = parameters(device, info->maxInputChannels, true);
  std::vector<double> rates;
  for (const double rate : standard_rates_hz) {
    const PaError answer = Pa_IsFormatSupported(info->maxInputChannels > 0 ? &input : nullptr,
                                                info->maxOutputChannels > 0 ? &output : nullptr, rate);
    if (answer == paFormatIsSupported) rates.push_back(rate);
  }
  return rates;
}

DeviceInfo describe(PaDeviceIndex index, bool with_rates) {
  const PaDeviceInfo* const info = Pa_GetDeviceInfo(index);
  const PaHostApiInfo* const api = Pa_GetHostApiInfo(info->hostApi);
  DeviceInfo device;
  device.name = readable_name(info->name == nullptr ? "" : info->name);
  device.api = api_word(api->type);
  device.title = readable_name(api->name == nullptr ? "" : api->name);
  device.outputs = info->maxOutputChannels;
  device.inputs = info->maxInputChannels;
  device.default_rate_hz = info->defaultSampleRate;
  if (with_rates) device.rates_hz = rates_of(index);
  device.caution = caution_about(device.api, device.name, device.default_rate_hz);
  return device;
}

int on_audio(const void* input, void* output, unsigned long frames, const PaStreamCallbackTimeInfo* /*times*/,
             PaStreamCallbackFlags flags, void* view) {
  constexpr PaStreamCallbackFlags lost = paInputUnderflow | paInputOverflow | paOutputUnderflow | paOutputOverflow;
  play_block(*static_cast<const DeckView*>(view), static_cast<const float*>(input), static_cast<float*>(output), frames,
             (flags & lost) != 0);
  return paContinue;
}

[[noreturn]] void refuse(const std::string& device, PaError error, double rate_hz, double default_rate_hz) {
  if (error == paInvalidSampleRate) {
    throw DeviceError{
        device, fmt::format("does not run at the rig's {:.0f} Hz (it is set to {:.0f} Hz)", rate_hz, default_rate_hz),
        "set it to the rig's rate, or correct sample_rate_hz in the rig"};
  }
  if (error == paInvalidChannelCount) {
    throw DeviceError{device, "does not open with all its channels", "check its channel mode, and what else uses it"};
  }
  if (error == paDeviceUnavailable) {
    throw DeviceError{device, "is in use by another program", "close that program"};
  }
  if (error == paInsufficientMemory) {  // what it says when the server has gone
    throw DeviceError{device, "cannot be opened; its audio server may have ended", "start the audio server again"};
  }
  throw DeviceError{device, fmt::format("cannot be opened ({})", Pa_GetErrorText(error)),
                    "close other audio programs, plug it in again, or restart the audio server"};
}

void require_channels(const DeviceInfo& device, int has, int needs, const char* what) {
  if (has >= needs) return;
  throw DeviceError{full_name(device),
                    fmt::format("has {} {}{}, but channel {} is needed", has, what, has == 1 ? "" : "s", needs),
                    "correct the rig's outputs or the channel options, or choose another device"};
}

int opened_channels(int has, int needs) { return has <= most_opened ? has : std::max(needs, most_opened); }

}  // namespace

AudioLibrary::AudioLibrary() {
  const PaError error = Pa_Initialize();
  if (error == paNoError) return;
  throw DeviceError{"audio", fmt::format("the audio system does not start ({})", Pa_GetErrorText(error)),
                    "check that the sound system of this computer works in other programs"};
}

AudioLibrary::~AudioLibrary() {
  if (stream_ != nullptr) {
    Pa_AbortStream(stream_);
    Pa_CloseStream(stream_);
  }
  Pa_Terminate();
}

std::vector<DeviceInfo> AudioLibrary::devices(bool with_rates) const {
  std::vector<DeviceInfo> result;
  for (PaDeviceIndex i = 0; i < Pa_GetDeviceCount(); ++i) result.push_back(describe(i, with_rates));
  return result;
}

StreamFacts AudioLibrary::open(const StreamWish& wish, const DeckView& view) {
  const std::vector<DeviceInfo> all = devices(false);
  const std::size_t out = find_device(all, wish.device);
  const std::size_t in = wish.input_device.empty() ? out : find_device(all, wish.input_device);
  refuse_wireless(all[out]);
  refuse_wireless(all[in]);
  require_channels(all[out], all[out].outputs, wish.outputs, "output");
  require_channels(all[in], all[in].inputs, wish.inputs, "input");
  const auto output = parameters(static_cast<int>(out), opened_channels(all[out].outputs, wish.outputs), false);
  const auto input = parameters(static_cast<int>(in), opened_channels(all[in].inputs, wish.inputs), true);
  const std::string name = full_name(all[out]);
  const auto check = [&](PaError error) {
    if (error != paNoError) refuse(name, error, wish.rate_hz, all[out].default_rate_hz);
  };
  check(Pa_IsFormatSupported(&input, &output, wish.rate_hz));

  view_ = view;
  view_.deck->outputs = static_cast<std::uint32_t>(output.channelCount);
  view_.deck->inputs = static_cast<std::uint32_t>(input.channelCount);
  // Unspecified block size: any number, even the device's own period, adds that many frames of delay.
  check(Pa_OpenStream(&stream_, &input, &output, wish.rate_hz, paFramesPerBufferUnspecified, paClipOff | paDitherOff,
                      on_audio, &view_));
  check(Pa_StartStream(stream_));

  StreamFacts facts{name,
                    output.channelCount,
                    input.channelCount,
                    rate_hz(),
                    0.0,
                    all[out].caution.empty() ? all[in].caution : all[out].caution,
                    {}};
  if (in != out) facts.input_name = full_name(all[in]);
  if (const PaStreamInfo* const info = Pa_GetStreamInfo(stream_)) {
    const double latency_s = info->inputLatency + info->outputLatency;  // may be nonsense: an unsigned wrap was seen
    if (latency_s > 0.0 && latency_s < 2.0) facts.latency_ms = 1e3 * latency_s;
  }
  return facts;
}

double AudioLibrary::rate_hz() const {
  if (stream_ == nullptr || Pa_IsStreamActive(stream_) != 1) return 0.0;
  const PaStreamInfo* const info = Pa_GetStreamInfo(stream_);
  return info == nullptr ? 0.0 : info->sampleRate;
}

}  // namespace ringtrue
