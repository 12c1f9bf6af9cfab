#include "html_text.hpp"

#include "ringtrue/report/text_layout.hpp"

namespace ringtrue::html {

std::string escaped(std::string_view text) {
  std::string result;
  for (const char c : text::printable(text)) {
    switch (c) {
      case '&': result += "&amp;"; break;
      case '<': result += "&lt;"; break;
      case '>': result += "&gt;"; break;
      case '"': result += "&quot;"; break;
      case '\'': result += "&#39;"; break;
      default: result += c;
    }
  }
  return result;
}

}  // namespace ringtrue::html
