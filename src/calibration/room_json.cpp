#include "room_json.hpp"

#include <array>
#include <utility>

namespace ringtrue::json {
namespace {

constexpr int room_decimals_of_frequency_hz = 2;
constexpr int room_decimals_of_decay_s = 3;
constexpr int room_decimals_of_ratio_db = 1;
constexpr int room_decimals_of_delay_ms = 3;
constexpr int room_decimals_of_path_m = 3;
constexpr int room_decimals_of_percent = 1;
constexpr std::size_t most_bands = 200;
constexpr std::size_t most_reflections = 1'000;
constexpr std::size_t most_resonances = 1'000;
constexpr int most_responses = 1'000'000;
constexpr int highest_order = 1'000;

using Optional = std::optional<double>;

/// One value of every row as an array.
template <class Row, class Value>
Object column(const std::vector<Row>& rows, int decimals, const Value& value) {
  Object array = Object::array();
  for (const Row& row : rows) array.push_back(number(value(row), decimals));
  return array;
}

/// The elements of a column, which must be as long as there are rows.
template <class Row, class Set>
void read_column(const Reader& reader, const char* key, std::vector<Row>& rows, const Set& set) {
  const auto values = reader.at(key).elements(most_bands);
  reader.at(key).require(values.size() == rows.size(), "as long as the other columns");
  for (std::size_t i = 0; i < rows.size(); ++i) set(rows[i], values[i]);
}

using DecayField = Optional DecayBand::*;
struct DecayColumn {
  const char* key;
  DecayField field;
  int decimals;
};
constexpr DecayColumn decay_columns[] = {
    {"early_decay_time_s", &DecayBand::early_s, room_decimals_of_decay_s},
    {"reverberation_time_s", &DecayBand::reverberation_s, room_decimals_of_decay_s},
    {"reverberation_time_uncertainty_s", &DecayBand::uncertainty_s, room_decimals_of_decay_s},
    {"curvature_percent", &DecayBand::curvature_percent, room_decimals_of_percent},
    {"clarity_50_db", &DecayBand::clarity_50_db, room_decimals_of_ratio_db},
    {"clarity_80_db", &DecayBand::clarity_80_db, room_decimals_of_ratio_db},
    {"centre_time_ms", &DecayBand::centre_time_ms, room_decimals_of_ratio_db}};

Object format_decay(const std::vector<DecayBand>& bands) {
  Object object{
      {"centre_hz", column(bands, room_decimals_of_frequency_hz, [](const DecayBand& b) { return b.centre_hz; })}};
  for (const DecayColumn& c : decay_columns) {
    object[c.key] = column(bands, c.decimals, [&](const DecayBand& band) { return band.*c.field; });
  }
  object["responses"] = column(bands, 0, [](const DecayBand& band) { return static_cast<double>(band.responses); });
  for (auto& count : object["responses"]) count = count.get<int>();
  return object;
}

std::vector<DecayBand> read_decay(const Reader& reader) {
  std::vector<DecayBand> bands(reader.at("centre_hz").elements(most_bands).size());
  read_column(reader, "centre_hz", bands,
              [](DecayBand& band, const Reader& value) { band.centre_hz = value.number(); });
  for (const DecayColumn& c : decay_columns) {
    read_column(reader, c.key, bands,
                [&](DecayBand& band, const Reader& value) { band.*c.field = optional_number(value); });
  }
  read_column(reader, "responses", bands,
              [](DecayBand& band, const Reader& value) { band.responses = value.integer(0, most_responses); });
  return bands;
}

Object format_reflection(const ReflectionResult& reflection) {
  return {{"delay_ms", number(reflection.delay_ms, room_decimals_of_delay_ms)},
          {"path_m", number(reflection.path_m, room_decimals_of_path_m)},
          {"level_db", number(reflection.level_db, room_decimals_of_ratio_db)},
          {"surface", reflection.surface.empty() ? Object{} : Object(reflection.surface)}};
}

ReflectionResult read_reflection(const Reader& reader) {
  const auto surface = reader.find("surface");
  return {.delay_ms = reader.at("delay_ms").number(),
          .path_m = reader.at("path_m").number(),
          .level_db = reader.at("level_db").number(),
          .surface = surface ? surface->text() : ""};
}

constexpr std::array<std::pair<const char*, const char*>, 2> harmonic_keys{
    {{"second_db", "second_noise_db"}, {"third_db", "third_noise_db"}}};

Object format_harmonics(const std::vector<HarmonicReading>& readings) {
  Object object{{"frequency_hz", column(readings, room_decimals_of_frequency_hz,
                                        [](const HarmonicReading& reading) { return reading.frequency_hz; })}};
  for (std::size_t i = 0; i < harmonic_keys.size(); ++i) {
    object[harmonic_keys[i].first] = column(readings, room_decimals_of_ratio_db,
                                            [&](const HarmonicReading& reading) { return reading.level_db[i]; });
    object[harmonic_keys[i].second] = column(readings, room_decimals_of_ratio_db,
                                             [&](const HarmonicReading& reading) { return reading.noise_db[i]; });
  }
  return object;
}

std::vector<HarmonicReading> read_harmonics(const Reader& reader) {
  std::vector<HarmonicReading> readings(reader.at("frequency_hz").elements(most_bands).size());
  read_column(reader, "frequency_hz", readings,
              [](HarmonicReading& reading, const Reader& value) { reading.frequency_hz = value.number(); });
  for (std::size_t i = 0; i < harmonic_keys.size(); ++i) {
    read_column(reader, harmonic_keys[i].first, readings,
                [&](HarmonicReading& reading, const Reader& value) { reading.level_db[i] = optional_number(value); });
    read_column(reader, harmonic_keys[i].second, readings,
                [&](HarmonicReading& reading, const Reader& value) { reading.noise_db[i] = optional_number(value); });
  }
  return readings;
}

Object format_resonance(const Resonance& resonance) {
  const auto& order = resonance.order;
  return {{"frequency_hz", number(resonance.frequency_hz, room_decimals_of_frequency_hz)},
          {"height_db", number(resonance.height_db, room_decimals_of_ratio_db)},
          {"box_mode_hz", number(resonance.box_mode_hz, room_decimals_of_frequency_hz)},
          {"box_mode", resonance.box_mode_hz ? Object::array({order[0], order[1], order[2]}) : Object{}}};
}

Resonance read_resonance(const Reader& reader) {
  Resonance resonance{.frequency_hz = reader.at("frequency_hz").number(),
                      .height_db = reader.at("height_db").number(),
                      .box_mode_hz = optional_number(reader.at("box_mode_hz")),
                      .order = {}};
  if (!resonance.box_mode_hz) return resonance;
  const auto orders = reader.at("box_mode").elements(3);
  reader.at("box_mode").require(orders.size() == 3, "an array of 3 whole numbers");
  for (std::size_t axis = 0; axis < 3; ++axis) resonance.order[axis] = orders[axis].integer(0, highest_order);
  return resonance;
}

Object format_noise(const RoomResult& room) {
  const auto& rating = room.noise_rating;
  return {{"centre_hz", column(room.noise, room_decimals_of_frequency_hz,
                               [](const NoiseReading& reading) { return reading.centre_hz; })},
          {"level_dbfs", column(room.noise, room_decimals_of_ratio_db,
                                [](const NoiseReading& reading) { return reading.level_dbfs; })},
          {"noise_rating", rating ? number(rating->rating, room_decimals_of_ratio_db) : Object{}},
          {"noise_rating_band_hz", rating ? number(rating->band_hz, room_decimals_of_frequency_hz) : Object{}}};
}

void read_noise(const Reader& reader, RoomResult& room) {
  room.noise.resize(reader.at("centre_hz").elements(most_bands).size());
  read_column(reader, "centre_hz", room.noise,
              [](NoiseReading& reading, const Reader& value) { reading.centre_hz = value.number(); });
  read_column(reader, "level_dbfs", room.noise,
              [](NoiseReading& reading, const Reader& value) { reading.level_dbfs = value.number(); });
  if (const auto rating = reader.find("noise_rating")) {
    room.noise_rating = NoiseRating{rating->number(), reader.at("noise_rating_band_hz").number()};
  }
}

}  // namespace

Object format_room(const RoomResult& room) {
  Object resonances = Object::array();
  for (const auto& resonance : room.resonances) resonances.push_back(format_resonance(resonance));
  return {{"octaves", format_decay(room.octaves)},
          {"third_octaves", format_decay(room.third_octaves)},
          {"schroeder_hz", number(room.schroeder_hz, room_decimals_of_frequency_hz)},
          {"resonances", std::move(resonances)},
          {"ear_from_left_m", number(room.ear.from_left_m, room_decimals_of_path_m)},
          {"ear_from_front_m", number(room.ear.from_front_m, room_decimals_of_path_m)},
          {"noise", format_noise(room)}};
}

RoomResult read_room(const Reader& reader) {
  RoomResult room{
      .octaves = read_decay(reader.at("octaves")),
      .third_octaves = read_decay(reader.at("third_octaves")),
      .schroeder_hz = optional_number(reader.at("schroeder_hz")),
      .resonances = {},
      .ear = {optional_number(reader.at("ear_from_left_m")), optional_number(reader.at("ear_from_front_m"))},
      .noise = {},
      .noise_rating = {}};
  for (const auto& resonance : reader.at("resonances").elements(most_resonances)) {
    room.resonances.push_back(read_resonance(resonance));
  }
  read_noise(reader.at("noise"), room);
  return room;
}

Object format_speaker_room(const SpeakerRoom& room) {
  Object reflections = Object::array();
  for (const auto& reflection : room.reflections) reflections.push_back(format_reflection(reflection));
  return {{"octaves", format_decay(room.octaves)},
          {"reflections", std::move(reflections)},
          {"harmonics", format_harmonics(room.harmonics)}};
}

SpeakerRoom read_speaker_room(const Reader& reader) {
  SpeakerRoom room{.octaves = read_decay(reader.at("octaves")),
                   .reflections = {},
                   .harmonics = read_harmonics(reader.at("harmonics"))};
  for (const auto& reflection : reader.at("reflections").elements(most_reflections)) {
    room.reflections.push_back(read_reflection(reflection));
  }
  return room;
}

}  // namespace ringtrue::json
