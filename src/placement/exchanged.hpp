#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/placement/locate.hpp"
#include "ringtrue/placement/nominal.hpp"

namespace ringtrue {

/// Which speaker stands in whose place: the assignment of speakers to nominal places with the least sum of angles,
/// unless it is hardly better than everyone in their own.
/// @param nominal, found  one entry a speaker
/// @returns for each speaker the one whose place it stands in; itself where nothing is exchanged or known
[[nodiscard]] std::vector<std::size_t> places_taken(std::span<const std::optional<NominalPlace>> nominal,
                                                    std::span<const std::optional<Located>> found);

}  // namespace ringtrue
