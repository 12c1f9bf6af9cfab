// Links the analysis alone: no audio, no files.
#include <ringtrue/rig/rig_file.hpp>
#include <ringtrue/stimulus/stimulus.hpp>

int main() {
  const auto rig = ringtrue::parse_rig("layout = \"mono\"\n[[speaker]]\nlabel = \"C\"\noutput = 1\n", "rig.toml");
  const auto stimulus = ringtrue::plan_stimulus(rig, {});
  return stimulus.channels == 1 && !stimulus.sweeps.empty() ? 0 : 1;
}
