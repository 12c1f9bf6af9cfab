#include "ringtrue/report/text_layout.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace ringtrue::text;

TEST_CASE("printable text keeps words in any script and replaces what acts on a terminal") {
  CHECK(printable("Größe 左 L") == "Größe 左 L");
  CHECK(printable("a\x1b[2Jb\nc\td\x7f") == "a?[2Jb?c?d?");
  CHECK(printable("\xC2\x9B") == "?");          // U+009B, a control sequence in one character
  CHECK(printable("x\xE2\x80\xAEy") == "x?y");  // U+202E turns the rest of the line round
}

TEST_CASE("printable text replaces ill-formed UTF-8 byte by byte") {
  // Source: Unicode 15, table 3-7: overlong, surrogate, beyond U+10FFFF, cut off, stray continuation.
  CHECK(printable("\xC0\xAF") == "??");
  CHECK(printable("\xE0\x80\x80") == "???");
  CHECK(printable("\xED\xA0\x80") == "???");
  CHECK(printable("\xF4\x90\x80\x80") == "????");
  CHECK(printable("ab\xE5\xB7") == "ab??");
  CHECK(printable("\x80") == "?");
  CHECK(printable("\xF4\x8F\xBF\xBF") == "\xF4\x8F\xBF\xBF");  // U+10FFFF, the last one
}

TEST_CASE("columns counts what a terminal shows, not bytes") {
  CHECK(columns("Größe") == 5);
  CHECK(columns("左右") == 4);
  CHECK(columns("e\xCC\x81") == 1);  // e and a combining acute accent
  CHECK(columns("") == 0);
}

TEST_CASE("padded text has exactly the width asked for") {
  CHECK(padded("L", 4) == "L   ");
  CHECK(padded("Größe", 6) == "Größe ");
  CHECK(padded("centre height", 6) == "centr~");
  CHECK(padded("左右左右", 6) == "左右~ ");  // a wide character is not cut in half
}

TEST_CASE("wrapped text breaks at spaces and keeps its indent") {
  const std::string words = std::string(50, 'a') + ' ' + std::string(27, 'b') + ' ' + std::string(40, 'c');
  CHECK(wrapped(words, "* ") ==
        "* " + std::string(50, 'a') + ' ' + std::string(27, 'b') + "\n  " + std::string(40, 'c') + '\n');
  CHECK(wrapped(std::string(78, 'a'), "* ") == "* " + std::string(78, 'a') + '\n');
  CHECK(wrapped(std::string(81, 'a')) == std::string(80, 'a') + "\na\n");  // a word longer than the page
  CHECK(wrapped("") == "\n");
}
