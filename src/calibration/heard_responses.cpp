#include "heard_responses.hpp"

namespace ringtrue {

std::vector<HeardResponse> heard_responses(const Rig& rig, std::span<const PositionMeasurement> positions,
                                           std::size_t speaker) {
  std::vector<HeardResponse> result;
  for (const PositionMeasurement& position : positions) {
    const SpeakerMeasurement& measured = position.speakers[speaker];
    const ImpulseResponse& response = measured.response;
    const bool usable = measured.heard && measured.trusted && measured.arrival_ms && !response.samples.empty();
    if (!usable && &position == &positions.front()) return {};
    if (!usable) continue;
    const double arrival = (measured.arrival_ms->value - response.first_sample_ms) * 1e-3 * response.sample_rate_hz;
    result.push_back({response.samples, response.sample_rate_hz, arrival, rig.speakers[speaker].band});
  }
  return result;
}

}  // namespace ringtrue
