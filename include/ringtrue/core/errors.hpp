#pragma once

#include <stdexcept>
#include <string>

namespace ringtrue {

/// One line for the user: where, what, and what to do about it.
class Error : public std::runtime_error {
 public:
  Error(const std::string& where, const std::string& what, const std::string& remedy)
      : std::runtime_error{where + ": " + what + "; " + remedy} {}
  /// A line that is made already.
  explicit Error(const std::string& line) : std::runtime_error{line} {}
};

/// Bad usage or a bad file: exit status 2, nothing written.
struct InvalidInput : Error {
  using Error::Error;
};

/// The audio device failed: exit status 3.
struct DeviceError : Error {
  using Error::Error;
};

}  // namespace ringtrue
