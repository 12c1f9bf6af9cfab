#pragma once

#include <string>

namespace ringtrue::test {

/// Of a rig: L and R on the first two outputs.
inline const std::string two_mains = R"([[speaker]]
label = "L"
output = 1
[[speaker]]
label = "R"
output = 2
)";

/// Of a virtual room: L 1.9723 m and R 2.0591 m from the ear point.
inline const std::string two_mains_placed = R"([[speaker]]
label = "L"
position_m = [-1.0, 1.7, 0.0]
[[speaker]]
label = "R"
position_m = [1.0, 1.8, 0.0]
)";

}  // namespace ringtrue::test
