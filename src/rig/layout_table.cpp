#include "ringtrue/rig/layout.hpp"

// Source of every row: ../shared/reference/layouts.csv, copied as values; a test compares each of them. In short:
// angles and ranges of ITU-R BS.2051 as in the data file of a public renderer (its README: from BS.2051-1; later
// editions were not checked); "X" layouts as subsets of them (IAMF v1.1); "P" layouts from common practice.
// Columns: trade label, BS.2051 label, LFE, {azimuth, elevation}, {azimuth min, max, elevation min, max}; degrees.

namespace ringtrue {
namespace {

constexpr std::string_view bs2051 = "ITU-R BS.2051 (data file derived from BS.2051-1)";
constexpr std::string_view subset_of_j = "IAMF v1.1 layout 6, a subset of ITU-R BS.2051 system J";
constexpr std::string_view subset_of_h = "IAMF v1.1 expanded layout 8, a subset of ITU-R BS.2051 system H";
constexpr std::string_view practice =
    "common practice; ear-level angles from ITU-R BS.2051, the overhead pair's 60 degrees are a working value";

constexpr LayoutChannel channels_a[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{30, 30, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-30, -30, 0, 0}},
};

constexpr LayoutChannel channels_b[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{30, 30, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-30, -30, 0, 0}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 0}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{-180, 180, -90, 90}},
    {"Ls", "M+110", false, {110, 0}, AngleRange{100, 120, 0, 15}},
    {"Rs", "M-110", false, {-110, 0}, AngleRange{-120, -100, 0, 15}},
};

constexpr LayoutChannel channels_c[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{30, 30, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-30, -30, 0, 0}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 0}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{-180, 180, -90, 90}},
    {"Ls", "M+110", false, {110, 0}, AngleRange{100, 120, 0, 15}},
    {"Rs", "M-110", false, {-110, 0}, AngleRange{-120, -100, 0, 15}},
    {"Ltf", "U+030", false, {30, 30}, AngleRange{30, 45, 30, 55}},
    {"Rtf", "U-030", false, {-30, 30}, AngleRange{-45, -30, 30, 55}},
};

constexpr LayoutChannel channels_d[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{30, 30, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-30, -30, 0, 0}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 0}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{-180, 180, -90, 90}},
    {"Ls", "M+110", false, {110, 0}, AngleRange{100, 120, 0, 0}},
    {"Rs", "M-110", false, {-110, 0}, AngleRange{-120, -100, 0, 0}},
    {"Ltf", "U+030", false, {30, 30}, AngleRange{30, 45, 30, 55}},
    {"Rtf", "U-030", false, {-30, 30}, AngleRange{-45, -30, 30, 55}},
    {"Ltr", "U+110", false, {110, 30}, AngleRange{100, 135, 30, 55}},
    {"Rtr", "U-110", false, {-110, 30}, AngleRange{-135, -100, 30, 55}},
};

constexpr LayoutChannel channels_e[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{30, 30, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-30, -30, 0, 0}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 0}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{-180, 180, -90, 90}},
    {"Ls", "M+110", false, {110, 0}, AngleRange{100, 120, 0, 0}},
    {"Rs", "M-110", false, {-110, 0}, AngleRange{-120, -100, 0, 0}},
    {"Ltf", "U+030", false, {30, 30}, AngleRange{30, 45, 30, 55}},
    {"Rtf", "U-030", false, {-30, 30}, AngleRange{-45, -30, 30, 55}},
    {"Ltr", "U+110", false, {110, 30}, AngleRange{100, 135, 30, 55}},
    {"Rtr", "U-110", false, {-110, 30}, AngleRange{-135, -100, 30, 55}},
    {"Cb", "B+000", false, {0, -30}, AngleRange{0, 0, -30, -15}},
};

constexpr LayoutChannel channels_f[] = {
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 0}},
    {"L", "M+030", false, {30, 0}, AngleRange{30, 30, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-30, -30, 0, 0}},
    {"Ltf", "U+045", false, {45, 30}, AngleRange{30, 45, 30, 45}},
    {"Rtf", "U-045", false, {-45, 30}, AngleRange{-45, -30, 30, 45}},
    {"Lss", "M+090", false, {90, 0}, AngleRange{60, 150, 0, 0}},
    {"Rss", "M-090", false, {-90, 0}, AngleRange{-150, -60, 0, 0}},
    {"Lrs", "M+135", false, {135, 0}, AngleRange{60, 150, 0, 0}},
    {"Rrs", "M-135", false, {-135, 0}, AngleRange{-150, -60, 0, 0}},
    {"Ctr", "UH+180", false, {180, 45}, AngleRange{180, 180, 45, 90}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{30, 90, -30, -15}},
    {"LFE2", "LFE2", true, {-45, -30}, AngleRange{-90, -30, -30, -15}},
};

constexpr LayoutChannel channels_g[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{30, 45, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-45, -30, 0, 0}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 0}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{-180, 180, -90, 90}},
    {"Lss", "M+090", false, {90, 0}, AngleRange{85, 110, 0, 0}},
    {"Rss", "M-090", false, {-90, 0}, AngleRange{-110, -85, 0, 0}},
    {"Lrs", "M+135", false, {135, 0}, AngleRange{120, 150, 0, 0}},
    {"Rrs", "M-135", false, {-135, 0}, AngleRange{-150, -120, 0, 0}},
    {"Ltf", "U+045", false, {45, 30}, AngleRange{30, 45, 30, 55}},
    {"Rtf", "U-045", false, {-45, 30}, AngleRange{-45, -30, 30, 55}},
    {"Ltr", "U+135", false, {135, 30}, AngleRange{100, 150, 30, 55}},
    {"Rtr", "U-135", false, {-135, 30}, AngleRange{-150, -100, 30, 55}},
    {"Lsc", "M+SC", false, {15, 0}, AngleRange{5, 60, 0, 0}},
    {"Rsc", "M-SC", false, {-15, 0}, AngleRange{-60, -5, 0, 0}},
};

constexpr LayoutChannel channels_h[] = {
    {"Lw", "M+060", false, {60, 0}, AngleRange{45, 60, 0, 5}},
    {"Rw", "M-060", false, {-60, 0}, AngleRange{-60, -45, 0, 5}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 5}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{30, 90, -30, -15}},
    {"Lrs", "M+135", false, {135, 0}, AngleRange{110, 135, 0, 15}},
    {"Rrs", "M-135", false, {-135, 0}, AngleRange{-135, -110, 0, 15}},
    {"L", "M+030", false, {30, 0}, AngleRange{22.5, 30, 0, 5}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-30, -22.5, 0, 5}},
    {"Cs", "M+180", false, {180, 0}, AngleRange{180, 180, 0, 15}},
    {"LFE2", "LFE2", true, {-45, -30}, AngleRange{-90, -30, -30, -15}},
    {"Lss", "M+090", false, {90, 0}, AngleRange{90, 90, 0, 15}},
    {"Rss", "M-090", false, {-90, 0}, AngleRange{-90, -90, 0, 15}},
    {"Ltf", "U+045", false, {45, 30}, AngleRange{45, 60, 30, 45}},
    {"Rtf", "U-045", false, {-45, 30}, AngleRange{-60, -45, 30, 45}},
    {"Ctf", "U+000", false, {0, 30}, AngleRange{0, 0, 30, 45}},
    {"Tc", "T+000", false, {0, 90}, AngleRange{0, 0, 90, 90}},
    {"Ltr", "U+135", false, {135, 30}, AngleRange{110, 135, 30, 45}},
    {"Rtr", "U-135", false, {-135, 30}, AngleRange{-135, -110, 30, 45}},
    {"Ltm", "U+090", false, {90, 30}, AngleRange{90, 90, 30, 45}},
    {"Rtm", "U-090", false, {-90, 30}, AngleRange{-90, -90, 30, 45}},
    {"Ctr", "U+180", false, {180, 30}, AngleRange{180, 180, 30, 45}},
    {"Cb", "B+000", false, {0, -30}, AngleRange{0, 0, -30, -15}},
    {"Lb", "B+045", false, {45, -30}, AngleRange{45, 60, -30, -15}},
    {"Rb", "B-045", false, {-45, -30}, AngleRange{-60, -45, -30, -15}},
};

constexpr LayoutChannel channels_i[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{30, 45, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-45, -30, 0, 0}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 0}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{-180, 180, -90, 90}},
    {"Lss", "M+090", false, {90, 0}, AngleRange{85, 110, 0, 0}},
    {"Rss", "M-090", false, {-90, 0}, AngleRange{-110, -85, 0, 0}},
    {"Lrs", "M+135", false, {135, 0}, AngleRange{120, 150, 0, 0}},
    {"Rrs", "M-135", false, {-135, 0}, AngleRange{-150, -120, 0, 0}},
};

constexpr LayoutChannel channels_j[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{30, 45, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-45, -30, 0, 0}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 0}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{-180, 180, -90, 90}},
    {"Lss", "M+090", false, {90, 0}, AngleRange{85, 110, 0, 0}},
    {"Rss", "M-090", false, {-90, 0}, AngleRange{-110, -85, 0, 0}},
    {"Lrs", "M+135", false, {135, 0}, AngleRange{120, 150, 0, 0}},
    {"Rrs", "M-135", false, {-135, 0}, AngleRange{-150, -120, 0, 0}},
    {"Ltf", "U+045", false, {45, 30}, AngleRange{30, 45, 30, 55}},
    {"Rtf", "U-045", false, {-45, 30}, AngleRange{-45, -30, 30, 55}},
    {"Ltr", "U+135", false, {135, 30}, AngleRange{100, 150, 30, 55}},
    {"Rtr", "U-135", false, {-135, 30}, AngleRange{-150, -100, 30, 55}},
};

constexpr LayoutChannel channels_x712[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{30, 45, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-45, -30, 0, 0}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 0}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{-180, 180, -90, 90}},
    {"Lss", "M+090", false, {90, 0}, AngleRange{85, 110, 0, 0}},
    {"Rss", "M-090", false, {-90, 0}, AngleRange{-110, -85, 0, 0}},
    {"Lrs", "M+135", false, {135, 0}, AngleRange{120, 150, 0, 0}},
    {"Rrs", "M-135", false, {-135, 0}, AngleRange{-150, -120, 0, 0}},
    {"Ltf", "U+045", false, {45, 30}, AngleRange{30, 45, 30, 55}},
    {"Rtf", "U-045", false, {-45, 30}, AngleRange{-45, -30, 30, 55}},
};

constexpr LayoutChannel channels_x916[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{22.5, 30, 0, 5}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-30, -22.5, 0, 5}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 5}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{30, 90, -30, -15}},
    {"Lss", "M+090", false, {90, 0}, AngleRange{90, 90, 0, 15}},
    {"Rss", "M-090", false, {-90, 0}, AngleRange{-90, -90, 0, 15}},
    {"Lrs", "M+135", false, {135, 0}, AngleRange{110, 135, 0, 15}},
    {"Rrs", "M-135", false, {-135, 0}, AngleRange{-135, -110, 0, 15}},
    {"Lw", "M+060", false, {60, 0}, AngleRange{45, 60, 0, 5}},
    {"Rw", "M-060", false, {-60, 0}, AngleRange{-60, -45, 0, 5}},
    {"Ltf", "U+045", false, {45, 30}, AngleRange{45, 60, 30, 45}},
    {"Rtf", "U-045", false, {-45, 30}, AngleRange{-60, -45, 30, 45}},
    {"Ltm", "U+090", false, {90, 30}, AngleRange{90, 90, 30, 45}},
    {"Rtm", "U-090", false, {-90, 30}, AngleRange{-90, -90, 30, 45}},
    {"Ltr", "U+135", false, {135, 30}, AngleRange{110, 135, 30, 45}},
    {"Rtr", "U-135", false, {-135, 30}, AngleRange{-135, -110, 30, 45}},
};

constexpr LayoutChannel channels_p512[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{30, 30, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-30, -30, 0, 0}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 0}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{-180, 180, -90, 90}},
    {"Ls", "M+110", false, {110, 0}, AngleRange{100, 120, 0, 15}},
    {"Rs", "M-110", false, {-110, 0}, AngleRange{-120, -100, 0, 15}},
    {"Ltm", "", false, {90, 60}, {}},
    {"Rtm", "", false, {-90, 60}, {}},
};

constexpr LayoutChannel channels_p712[] = {
    {"L", "M+030", false, {30, 0}, AngleRange{30, 45, 0, 0}},
    {"R", "M-030", false, {-30, 0}, AngleRange{-45, -30, 0, 0}},
    {"C", "M+000", false, {0, 0}, AngleRange{0, 0, 0, 0}},
    {"LFE", "LFE1", true, {45, -30}, AngleRange{-180, 180, -90, 90}},
    {"Lss", "M+090", false, {90, 0}, AngleRange{85, 110, 0, 0}},
    {"Rss", "M-090", false, {-90, 0}, AngleRange{-110, -85, 0, 0}},
    {"Lrs", "M+135", false, {135, 0}, AngleRange{120, 150, 0, 0}},
    {"Rrs", "M-135", false, {-135, 0}, AngleRange{-150, -120, 0, 0}},
    {"Ltm", "", false, {90, 60}, {}},
    {"Rtm", "", false, {-90, 60}, {}},
};

constexpr std::string_view names_a[] = {"2.0", "stereo"};
constexpr std::string_view names_b[] = {"5.1"};
constexpr std::string_view names_c[] = {"5.1.2", "5.1.2 (front heights)"};
constexpr std::string_view names_d[] = {"5.1.4"};
constexpr std::string_view names_e[] = {"5.1.4+1", "5.1.4+1 bottom"};
constexpr std::string_view names_f[] = {"7.2.3", "10.2", "7.2.3 (10.2)"};
constexpr std::string_view names_g[] = {"9.1.4", "9.1.4 (screen pair)"};
constexpr std::string_view names_h[] = {"22.2"};
constexpr std::string_view names_i[] = {"7.1"};
constexpr std::string_view names_j[] = {"7.1.4"};
constexpr std::string_view names_x712[] = {"7.1.2", "7.1.2 (front heights)"};
constexpr std::string_view names_x916[] = {"9.1.6"};
constexpr std::string_view names_p512[] = {"5.1.2 (overhead)", "5.1.2 (overhead pair)"};
constexpr std::string_view names_p712[] = {"7.1.2 (overhead)", "7.1.2 (overhead pair)"};

constexpr Layout table[] = {
    {"A", "0+2+0", names_a, channels_a, bs2051},          {"B", "0+5+0", names_b, channels_b, bs2051},
    {"C", "2+5+0", names_c, channels_c, bs2051},          {"D", "4+5+0", names_d, channels_d, bs2051},
    {"E", "4+5+1", names_e, channels_e, bs2051},          {"F", "3+7+0", names_f, channels_f, bs2051},
    {"G", "4+9+0", names_g, channels_g, bs2051},          {"H", "9+10+3", names_h, channels_h, bs2051},
    {"I", "0+7+0", names_i, channels_i, bs2051},          {"J", "4+7+0", names_j, channels_j, bs2051},
    {"X712", "", names_x712, channels_x712, subset_of_j}, {"X916", "", names_x916, channels_x916, subset_of_h},
    {"P512", "", names_p512, channels_p512, practice},    {"P712", "", names_p712, channels_p712, practice},
};

}  // namespace

std::span<const Layout> layouts() { return table; }

}  // namespace ringtrue
