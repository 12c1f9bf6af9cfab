#pragma once

#include <string>
#include <vector>

namespace ringtrue {

/// What one microphone position yielded: the microphone, and the electrical loopback where there is one.
struct Recording {
  std::string name;  // for messages: the file, or "virtual room, position 1"
  double sample_rate_hz = 48'000.0;
  std::vector<float> microphone;  // full scale = 1.0
  std::vector<float> loopback;    // empty, or as long as microphone
};

}  // namespace ringtrue
