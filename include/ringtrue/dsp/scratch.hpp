#pragma once

#include <memory>
#include <utility>
#include <vector>

namespace ringtrue {

/// Leaves new elements as they are: what is written whole before it is read need not be set to zero first.
template <class Number>
struct Unset : std::allocator<Number> {
  template <class Other>
  struct rebind {
    using other = Unset<Other>;
  };
  template <class Other>
  void construct(Other*) noexcept {}
  template <class Other, class Value>
  void construct(Other* at, Value&& value) {
    std::construct_at(at, std::forward<Value>(value));
  }
};

/// A vector for numbers that are written before they are read: buffers of transforms. Its elements begin as anything.
template <class Number>
using Scratch = std::vector<Number, Unset<Number>>;

}  // namespace ringtrue
