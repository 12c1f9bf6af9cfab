#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace ringtrue::html {

struct Column {
  std::string_view name;
  bool wide = false;  // takes a whole line on a phone
};

/// The start of a table whose rows are loudspeakers; `columns` come after the one that names them. Roles are spelled
/// out because a phone shows rows as blocks, and then browsers forget that they are rows.
[[nodiscard]] std::string table_head(std::string_view caption, const std::vector<Column>& columns);

/// @param who    the loudspeaker
/// @param words  in small print below it
/// @param cells  plain text, one for each column
[[nodiscard]] std::string table_row(std::string_view who, std::string_view words, const std::vector<Column>& columns,
                                    const std::vector<std::string>& cells);

inline constexpr std::string_view table_end = "</tbody></table>\n";

}  // namespace ringtrue::html
