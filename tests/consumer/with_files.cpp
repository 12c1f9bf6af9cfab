// Links the edge too: the sheet, sound files.
#include <ringtrue/capture/wav_file.hpp>
#include <ringtrue/core/errors.hpp>
#include <ringtrue/report/sheet.hpp>
#include <string>

int main() {
  try {
    static_cast<void>(ringtrue::read_sound("no such file.wav"));
  } catch (const ringtrue::InvalidInput&) {
    return ringtrue::format_sheet({}).empty() ? 1 : 0;
  }
  return 1;
}
