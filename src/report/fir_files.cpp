#include "ringtrue/report/fir_files.hpp"

#include <array>
#include <system_error>
#include <vector>

#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/impulse_responses.hpp"

namespace ringtrue {

void write_firs(const std::filesystem::path& folder, const Rig& rig, std::span<const Fir> firs) {
  std::error_code error;
  std::filesystem::create_directories(folder, error);
  if (error) {
    throw InvalidInput{folder.string(), "the folder cannot be made (" + error.message() + ")",
                       "choose a place where you may write"};
  }
  const auto names = impulse_response_file_names(rig);
  for (std::size_t s = 0; s < firs.size(); ++s) {
    const std::array channel{std::vector<float>(firs[s].taps.begin(), firs[s].taps.end())};
    write_wav(folder / names[s], rig.interface.sample_rate_hz, channel);
  }
}

}  // namespace ringtrue
