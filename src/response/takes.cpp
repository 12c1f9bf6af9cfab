#include "ringtrue/response/takes.hpp"

#include <utility>

namespace ringtrue {

Takes combine(std::vector<double> first, std::vector<double> second, double sample_rate_hz, std::size_t zero_index) {
  Takes takes{sample_rate_hz, zero_index, std::move(first), std::move(second), {}, {}};
  takes.mean.resize(takes.first.size());
  takes.noise.resize(takes.first.size());
  for (std::size_t n = 0; n < takes.first.size(); ++n) {
    takes.mean[n] = 0.5 * (takes.first[n] + takes.second[n]);
    takes.noise[n] = 0.5 * (takes.first[n] - takes.second[n]);
  }
  return takes;
}

}  // namespace ringtrue
