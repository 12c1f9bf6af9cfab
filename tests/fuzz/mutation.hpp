#pragma once

#include <cstdint>
#include <string>

namespace ringtrue::fuzz {

/// Random numbers by SplitMix64 (Steele, Lea and Flood 2014, "Fast splittable pseudorandom number generators"): the
/// same on every machine.
class Dice {
 public:
  explicit Dice(std::uint64_t seed) : state_{seed} {}
  [[nodiscard]] std::uint64_t roll();
  /// 0 to sides - 1; the bias of the remainder does not matter here. `sides` > 0.
  [[nodiscard]] std::size_t roll(std::size_t sides) { return static_cast<std::size_t>(roll() % sides); }

 private:
  std::uint64_t state_;
};

/// The bytes with one to four faults: a bit turned, a byte replaced, a piece cut out, the end cut off, a piece doubled,
/// a number put in another's place, four bytes made a size that cannot be. At most twice as long per fault.
[[nodiscard]] std::string mutate(std::string bytes, Dice& dice);

}  // namespace ringtrue::fuzz
