#include "mutation.hpp"

#include <algorithm>
#include <array>
#include <string_view>

namespace ringtrue::fuzz {
namespace {

struct Piece {
  std::size_t begin;
  std::size_t size;
};

Piece any_piece(const std::string& bytes, Dice& dice) {
  const std::size_t begin = dice.roll(bytes.size());
  return {begin, 1 + dice.roll(std::min<std::size_t>(bytes.size() - begin, 64))};
}

void turn_bit(std::string& bytes, Dice& dice) {
  char& byte = bytes[dice.roll(bytes.size())];
  byte = static_cast<char>(static_cast<unsigned char>(byte) ^ (1U << dice.roll(8)));
}

void replace_byte(std::string& bytes, Dice& dice) {
  constexpr std::string_view awkward{"\0\n\r\t\"'[]{}#=,.;:-+\\ \x7F\x80\xC3\xFF", 24};
  bytes[dice.roll(bytes.size())] = awkward[dice.roll(awkward.size())];
}

void cut_out(std::string& bytes, Dice& dice) {
  const auto [begin, size] = any_piece(bytes, dice);
  bytes.erase(begin, size);
}

void cut_off(std::string& bytes, Dice& dice) { bytes.resize(dice.roll(bytes.size())); }

void double_piece(std::string& bytes, Dice& dice) {
  const auto [begin, size] = any_piece(bytes, dice);
  const std::string piece = bytes.substr(begin, size);
  bytes.insert(dice.roll(bytes.size()), piece);
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }

void replace_number(std::string& bytes, Dice& dice) {
  constexpr std::array<std::string_view, 16> numbers{"0",          "-0",
                                                     "-1",         "1e308",
                                                     "-1e309",     "5e-324",
                                                     "nan",        "inf",
                                                     "2147483648", "-9223372036854775808",
                                                     "1e-30",      "0x10",
                                                     "1,5",        "true",
                                                     "\"1\"",      "99999999999999999999"};
  const auto middle = bytes.begin() + static_cast<std::ptrdiff_t>(dice.roll(bytes.size()));
  const auto begin = std::find_if(middle, bytes.end(), is_digit);
  bytes.replace(begin, std::find_if_not(begin, bytes.end(), is_digit), numbers[dice.roll(numbers.size())]);
}

void replace_size(std::string& bytes, Dice& dice) {
  constexpr std::array<std::string_view, 5> sizes{std::string_view{"\xFF\xFF\xFF\xFF", 4},
                                                  {"\0\0\0\0", 4},
                                                  {"\xFF\xFF\xFF\x7F", 4},
                                                  {"\0\0\0\x80", 4},
                                                  {"\x01\0\0\0", 4}};
  const std::size_t begin = dice.roll(bytes.size());
  bytes.replace(begin, std::min<std::size_t>(4, bytes.size() - begin), sizes[dice.roll(sizes.size())]);
}

constexpr std::array faults{turn_bit, replace_byte, cut_out, cut_off, double_piece, replace_number, replace_size};

}  // namespace

std::uint64_t Dice::roll() {
  std::uint64_t z = state_ += 0x9E37'79B9'7F4A'7C15U;
  z = (z ^ (z >> 30U)) * 0xBF58'476D'1CE4'E5B9U;
  z = (z ^ (z >> 27U)) * 0x94D0'49BB'1331'11EBU;
  return z ^ (z >> 31U);
}

std::string mutate(std::string bytes, Dice& dice) {
  for (std::size_t left = 1 + dice.roll(4); left > 0 && !bytes.empty(); --left)
    faults[dice.roll(faults.size())](bytes, dice);
  return bytes;
}

}  // namespace ringtrue::fuzz
