#include <doctest/doctest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <chrono>
#include <filesystem>
#include <fstream>
#include <string>

#include "rig_messages.hpp"
#include "temporary_folder.hpp"

// What is no rig at all: every such file must end in one InvalidInput line, quickly and without a crash.

namespace ringtrue {
namespace {

std::string message_of_file(const std::filesystem::path& path) {
  try {
    (void)read_rig(path);
    return {};
  } catch (const InvalidInput& error) {
    return error.what();
  }
}

std::string repeated(const std::string& part, int times) {
  std::string result;
  for (int i = 0; i < times; ++i) result += part;
  return result;
}

const std::string too_deep = ": the values are nested too deeply; write them as docs/rig.md shows";

}  // namespace

TEST_CASE("an empty file is a rig without a layout") {
  for (const char* text : {"", "\n", "\xEF\xBB\xBF", "# nothing yet\n", "   "}) {
    CHECK(test::message_of(text) == "rig.toml:1, layout: missing; add, for example, layout = \"7.1.4\"");
  }
}

TEST_CASE("text that is not TOML is refused with its line") {
  CHECK(test::message_of("layout = \"7.1.4\"\noutput 1\n")
            .starts_with("rig.toml:2: Error while parsing key-value pair: "));
  CHECK(test::message_of("layout = \"7.1.4\"\nlayout = \"5.1\"\n") ==
        "rig.toml:2: Error while parsing key-value pair: cannot redefine existing string 'layout'; correct the TOML on "
        "this line");
  CHECK(test::message_of("layout = \"7.1.4\n").starts_with("rig.toml:1: "));
  CHECK(test::message_of("a = 99999999999999999999") ==
        "rig.toml:1: Error while parsing decimal integer: '99999999999999999999' is not representable in 64 bits; "
        "correct the TOML on this line");
  for (const char* nameless : {"[", "[]", "[[ ]]", "[&", "[.a]", "[#]", "[", "[[", "[ =]", "[ [a] ]", " \t[&]"}) {
    CAPTURE(nameless);
    CHECK(test::message_of("x = [\n[1]\n]\n" + std::string{nameless}) ==
          "rig.toml:4: a table without a proper name; write [name] with letters, digits, _ and -");
  }
  CHECK(test::message_of("<html><body>not found</body></html>").starts_with("rig.toml:1: "));
}

TEST_CASE("text at which the TOML parser's own assumptions break is refused with its line") {
  // Found by fuzzing: toml++ 3.3 asserts what this does not keep.
  const std::string broken = "las = 1979-05-27T.7:32:00Z";
  for (const char* tail : {"", "\n", "[", "\nx = 1\n"}) {
    CAPTURE(tail);
    CHECK(test::message_of("a = 1\n\n" + broken + tail).starts_with("rig.toml:3: "));
  }
  CHECK(test::message_of("a = 1\n\n" + broken + "\nb = 2\n") ==
        "rig.toml:3: this line is not TOML; write it as docs/rig.md shows");
}

TEST_CASE("letters beyond ASCII are fine in quotes and comments, and refused elsewhere") {
  const std::string refusal = ": TOML allows no letter beyond a-z here; write it inside quotes, or not at all";
  CHECK(test::message_of("x = 1\nlarge\u00fc = 1") == "rig.toml:2" + refusal);
  CHECK(test::message_of("\u0293ayou.t=\"ou\"") == "rig.toml:1" + refusal);       // found by fuzzing
  CHECK(test::message_of("name = \u201cAttic\u201d") == "rig.toml:1" + refusal);  // curly quotes
  CHECK(test::message_of("name = \"\\\u00e9\"") == "rig.toml:1" + refusal);
  CHECK(test::message_of("name = \"\"\"a\\ \n \u00e9\"\"\"") == "rig.toml:2" + refusal);
  for (const char* word :
       {"2pa\"\"\"~\uFF5E", "4=\"\u00e9\"", "+[\"\u00e9\"", "1{'\u00e9'", "0.'\u00e9'", "a\"\u00e9\""}) {
    CAPTURE(word);
    CHECK(test::message_of("layout=" + std::string{word}) ==  // the first two found by fuzzing
          "rig.toml:1: a quote in the middle of a word; put quotes around the whole text");
  }
  CHECK(test::message_of("# H\u00f6he\nname = '\u5c4b\u6839\u88cf' # \u00fc\nlayout = \"2.0\"\n" + test::one_speaker) ==
        "");
}

TEST_CASE("text that is not UTF-8 is refused with its line") {
  // Source: RFC 3629, section 4 and the examples of section 3: overlong forms, surrogates and values above U+10FFFF.
  for (const char* bad : {"\xFF", "\x80", "\xC3", "\xC0\xAF", "\xE0\x9F\xBF", "\xED\xA0\x80", "\xF0\x8F\xBF\xBF",
                          "\xF4\x90\x80\x80", "\xF5\x80\x80\x80", "\xE2\x82", "\xF0\x9F\x94"}) {
    CAPTURE(bad);
    CHECK(test::message_of("layout = \"2.0\"\nname = \"" + std::string{bad} + "\"\n" + test::one_speaker) ==
          "rig.toml:2: this is not UTF-8 text; save the file as UTF-8");
  }
  for (const char* good :
       {"\xC3\xA9", "\xE0\xA0\x80", "\xED\x9F\xBF", "\xEF\xBF\xBD", "\xF0\x90\x80\x80", "\xF4\x8F\xBF\xBF"}) {
    CAPTURE(good);
    CHECK(test::message_of("layout = \"2.0\"\nname = \"" + std::string{good} + "\"\n" + test::one_speaker) == "");
  }
  const std::string utf16{"\xFF\xFEl\0a\0", 6};
  CHECK(test::message_of(utf16) == "rig.toml:1: this is not UTF-8 text; save the file as UTF-8");
  CHECK(test::message_of(std::string{"layout\0", 7}) == "rig.toml:1: this is not UTF-8 text; save the file as UTF-8");
}

TEST_CASE("deep nesting is refused before it can exhaust the stack") {
  constexpr int many = 200'000;
  CHECK(test::message_of("\nx = " + repeated("[", many)) == "rig.toml:2" + too_deep);
  CHECK(test::message_of("x = " + repeated("{a=", many)) == "rig.toml:1" + too_deep);
  CHECK(test::message_of("[" + repeated("a.", many) + "a]") == "rig.toml:1" + too_deep);
  CHECK(test::message_of(repeated("\"=\".", many) + "a = 1") == "rig.toml:1" + too_deep);
  CHECK(test::message_of(repeated("1 . ", many) + "1 = 1") == "rig.toml:1" + too_deep);
  CHECK(test::message_of("x = \"\"\"\n\\\"\"\"\"\ny = '''''' #]\nz = " + repeated("[", many)) ==
        "rig.toml:4" + too_deep);
}

TEST_CASE("brackets and dots in text and comments are not nesting") {
  const std::string dots(500, '.');
  const std::string brackets(500, '[');
  for (const std::string& quiet :
       {"# " + dots + brackets + "\n", "x1 = '" + dots + "'\n", "x1 = \"\\\"" + brackets + "\"\n",
        "x1 = '''\n'' " + brackets + "'''\n", "x1 = \"\"\"\n\"\" \\\"\"\" " + dots + "\"\"\"\"\n"}) {
    CAPTURE(quiet);
    CHECK(test::message_of(quiet + "layout = \"2.0\"\n" + test::one_speaker).find("nested") == std::string::npos);
  }
}

TEST_CASE("long text in an error is cut, so that it stays one readable line") {
  const std::string huge(100'000, 'k');
  for (const std::string& text : {huge + " = 1\n", "layout = \"" + huge + "\"\n", huge + "\n",
                                  huge + " = 1\n" + huge + " = 2\n", "layout = " + std::string(100'000, '9')}) {
    const std::string message = test::message_of(text);
    CHECK_FALSE(message.empty());
    CHECK(message.size() < 300);
    CHECK(message.find('\n') == std::string::npos);
  }
}

TEST_CASE("a file of a megabyte is judged quickly, a larger one refused unread") {
  const auto start = std::chrono::steady_clock::now();
  std::string speakers = "layout = \"ring\"\n";
  while (speakers.size() < 1'000'000) speakers += "[[speaker]]\nlabel='L'\noutput=1\n";
  CHECK(test::message_of(speakers) == "rig.toml:194, speaker: more than 64 speakers; remove some");  // 2 + 64 * 3
  CHECK_FALSE(test::message_of("x = [" + repeated("1,", 500'000) + "]").empty());
  CHECK_FALSE(test::message_of(repeated("\n", 1'000'000)).empty());
  // 0.3 s on a machine of 2 cores in a debug build; a quadratic reader would take minutes.
  CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds{20});
  CHECK(test::message_of(std::string((1U << 20U) + 1U, '\n')) == "rig.toml: larger than 1 MiB; give a rig.toml");
}

TEST_CASE("65 speakers are refused") {
  std::string text = "layout = \"ring\"\n";
  for (int i = 1; i <= 65; ++i) {
    text += "[[speaker]]\nlabel = \"S" + std::to_string(i) + "\"\noutput = " + std::to_string(i % 64 + 1) + "\n";
  }
  // Header of the 65th: line 2 + 64 * 3.
  CHECK(test::message_of(text) == "rig.toml:194, speaker: more than 64 speakers; remove some");
}

TEST_CASE("101 mic positions are refused") {
  CHECK(test::message_of("layout = \"2.0\"\n" + test::one_speaker + repeated("[[position]]\n", 100)) == "");
  CHECK(test::message_of("layout = \"2.0\"\n" + test::one_speaker + repeated("[[position]]\n", 101)) ==
        "rig.toml:5, position: more than 100 mic positions; remove some");
}

TEST_CASE("what cannot be opened as a file is refused with the reason") {
  const test::TemporaryFolder folder;
  const auto missing = folder.path() / "none.toml";
  CHECK(message_of_file(missing) == missing.string() + ": no such file; check the path");
  CHECK(message_of_file("") == ": no such file; check the path");
  CHECK(message_of_file(folder.path()) == folder.path().string() + ": this is a folder; give the rig.toml inside it");
  CHECK(message_of_file("/dev/zero") == "/dev/zero: this is not a file; give a rig.toml");

  const auto pipe = folder.path() / "pipe";
  REQUIRE(mkfifo(pipe.c_str(), 0600) == 0);
  CHECK(message_of_file(pipe) == pipe.string() + ": this is not a file; give a rig.toml");

  const auto loop = folder.path() / "loop";
  std::filesystem::create_symlink(loop, loop);
  CHECK(message_of_file(loop) == loop.string() + ": Too many levels of symbolic links; check the path");

  const std::string long_name(300, 'n');
  CHECK(message_of_file(folder.path() / long_name).ends_with(": File name too long; check the path"));
}

TEST_CASE("a file over 1 MiB is refused") {
  const test::TemporaryFolder folder;
  const auto path = folder.path() / "big.toml";
  std::ofstream{path} << std::string(2'000'000, '#');
  CHECK(message_of_file(path) == path.string() + ": larger than 1 MiB; give a rig.toml");
}

TEST_CASE("a file one may not read is refused with the reason") {
  constexpr uid_t nobody = 65'534;
  const test::TemporaryFolder folder;
  const auto path = folder.path() / "secret.toml";
  std::ofstream{path} << "layout = \"2.0\"\n";
  std::filesystem::permissions(folder.path(), std::filesystem::perms::all);
  std::filesystem::permissions(path, std::filesystem::perms::none);
  const bool is_root = geteuid() == 0;  // who may read every file, and so has to step down
  if (is_root && seteuid(nobody) != 0) {
    MESSAGE("SKIPPED: root cannot step down here");
    return;
  }
  const std::string message = message_of_file(path);
  if (is_root) REQUIRE(seteuid(0) == 0);
  CHECK(message == path.string() + ": Permission denied; check who may read it");
}

TEST_CASE("every beginning of a good rig, and every byte of it spoilt, is accepted or refused in one line") {
  const std::string good =
      "name=\"A\\u00e9\"\nlayout='7.1.4'\n[room]\nsize_m=[5.2,4.4,2.6]\n[interface]\neq_bands=8 # x\n"
      "polarity_switch=true\n[[speaker]]\nlabel=\"L\"\noutput=1\nband_hz=[50,2e4]\n[[position]]\noffset_m=[0,0.1,-0]\n";
  REQUIRE(test::message_of(good) == "");
  const auto check = [](const std::string& text) {
    const std::string message = test::message_of(text);
    CHECK(message.find('\n') == std::string::npos);
    CHECK((message.empty() || message.starts_with("rig.toml:")));
  };
  for (std::size_t i = 0; i < good.size(); ++i) {
    check(good.substr(0, i));
    for (const char c :
         {'\0', '\x7F', '\xFF', '"', '\'', '\\', '[', ']', '{', '}', '=', '.', ',', '#', '\n', '9', '-'}) {
      std::string spoilt = good;
      spoilt[i] = c;
      check(spoilt);
    }
  }
}

}  // namespace ringtrue
