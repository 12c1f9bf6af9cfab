#pragma once

#include <cstddef>
#include <span>

namespace ringtrue {

/// Asks for the memory of a sample that is read soon: a walk through a long recording otherwise waits for it. Changes no
/// result; does nothing where there is no such sample, or no such request in the compiler.
inline void prefetch([[maybe_unused]] std::span<const float> samples, [[maybe_unused]] std::size_t index) {
#if defined(__GNUC__)
  if (index < samples.size()) __builtin_prefetch(samples.data() + index);
#endif
}

}  // namespace ringtrue
