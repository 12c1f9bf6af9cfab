// One libFuzzer program per reader (https://llvm.org/docs/LibFuzzer.html): what escapes from `withstand` ends it and
// leaves the bytes in a file.
#include <algorithm>
#include <cstddef>
#include <cstdint>

#include "readers.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace ringtrue::fuzz;
  static const Reader reader = *std::ranges::find(readers(), std::string_view{RINGTRUE_FUZZED_READER}, &Reader::name);
  (void)reader.withstand({reinterpret_cast<const char*>(data), size});
  return 0;
}
