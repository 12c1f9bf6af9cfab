#pragma once

#include <cstddef>
#include <span>

namespace ringtrue {

/// Samples that come into a processor's near memory at once: fewer with longer lines, which does no harm.
constexpr std::size_t samples_per_cache_line = 64 / sizeof(float);

/// Asks for the memory of a sample that is read soon: a walk through a long recording otherwise waits for it. Changes
/// no result; does nothing where there is no such sample, or no such request in the compiler.
inline void prefetch([[maybe_unused]] std::span<const float> samples, [[maybe_unused]] std::size_t index) {
#if defined(__GNUC__)
  if (index < samples.size()) __builtin_prefetch(samples.data() + index);
#endif
}

}  // namespace ringtrue
