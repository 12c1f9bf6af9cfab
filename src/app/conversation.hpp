#pragma once

#include <functional>
#include <optional>
#include <string>

namespace ringtrue::app {

/// What ringtrue says and asks while it plays: on stderr, so that results alone are on standard output.
class Conversation {
 public:
  /// @param assume_yes  as with --yes: nothing waits for a go-ahead
  explicit Conversation(bool assume_yes) : assume_yes_{assume_yes} {}

  static void say(const std::string& line);

  /// Waits for a line from the keyboard (or a pipe).
  /// @param idle  called ten times a second; may throw
  /// @returns empty at the end of the input: nobody answers
  /// @throws Stopped
  [[nodiscard]] static std::optional<std::string> ask(const std::string& question, const std::function<void()>& idle);

  /// The caution before the first sound; waits for Enter at a keyboard, three seconds without one, not at all with
  /// --yes. @throws Stopped
  void caution_before_sound() const;

  [[nodiscard]] static bool somebody_is_there();

 private:
  bool assume_yes_;
};

}  // namespace ringtrue::app
