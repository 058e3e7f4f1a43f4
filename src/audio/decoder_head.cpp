#include "audio/decoder_head.h"

#include <algorithm>
#include <cmath>
#include <string_view>

namespace sendworthy::audio {
namespace {

using Head = std::vector<std::uint8_t>;

void put(Head& head, std::string_view text) {
  for (const char c : text) head.push_back(static_cast<std::uint8_t>(c));
}
void put_le(Head& head, std::uint64_t value, int bytes) {
  for (int i = 0; i < bytes; ++i) head.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
}
void put_be(Head& head, std::uint64_t value, int bytes) {
  for (int i = bytes - 1; i >= 0; --i) head.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
}

}  // namespace

Head wave_decoder_head(const SampleData& data, const StreamFormat& format) {
  // The seven coefficient pairs every MS ADPCM header carries, from memory.
  constexpr int kCoefficients[7][2] = {{256, 0}, {512, -256}, {0, 0}, {192, 64}, {240, 0}, {460, -208}, {392, -232}};
  std::uint16_t tag = 6;
  std::uint16_t bits = 8;
  Head extra;
  switch (data.codec) {
    case Codec::mu_law:
      tag = 7;
      break;
    case Codec::ms_adpcm:
      tag = 2;
      bits = 4;
      put_le(extra, 32, 2);
      put_le(extra, static_cast<std::uint64_t>(data.packet_frames), 2);
      put_le(extra, 7, 2);
      for (const auto& pair : kCoefficients) {
        put_le(extra, static_cast<std::uint16_t>(pair[0]), 2);
        put_le(extra, static_cast<std::uint16_t>(pair[1]), 2);
      }
      break;
    case Codec::ima_adpcm:
      tag = 0x11;
      bits = 4;
      put_le(extra, 2, 2);
      put_le(extra, static_cast<std::uint64_t>(data.packet_frames), 2);
      break;
    case Codec::gsm:
      tag = 0x31;
      bits = 0;
      put_le(extra, 2, 2);
      put_le(extra, 320, 2);
      break;
    default:
      break;
  }
  const auto whole = data.bytes / data.frame_bytes * data.frame_bytes;
  const auto size = static_cast<std::uint64_t>(std::min<std::int64_t>(whole, 0xfffff000));
  const auto rate = static_cast<std::uint64_t>(format.sample_rate);
  Head head;
  put(head, "RIFF");
  put_le(head, 4 + 8 + 16 + extra.size() + 12 + 8 + size, 4);
  put(head, "WAVEfmt ");
  put_le(head, 16 + extra.size(), 4);
  put_le(head, tag, 2);
  put_le(head, static_cast<std::uint64_t>(format.channels), 2);
  put_le(head, rate, 4);
  put_le(head, rate * static_cast<std::uint64_t>(data.frame_bytes) / static_cast<std::uint64_t>(data.packet_frames), 4);
  put_le(head, static_cast<std::uint64_t>(data.frame_bytes), 2);
  put_le(head, bits, 2);
  head.insert(head.end(), extra.begin(), extra.end());
  put(head, "fact");
  put_le(head, 4, 4);
  put_le(head, static_cast<std::uint64_t>(std::min<std::int64_t>(frames_in(data, whole), 0xfffffffe)), 4);
  put(head, "data");
  put_le(head, size, 4);
  return head;
}

Head aifc_decoder_head(const SampleData& data, const StreamFormat& format) {
  const auto packets = data.bytes / data.frame_bytes;
  const auto size = static_cast<std::uint64_t>(std::min<std::int64_t>(packets * data.frame_bytes, 0xfffff000));
  Head head;
  put(head, "FORM");
  put_be(head, 4 + 8 + 24 + 8 + 8 + size, 4);
  put(head, "AIFCCOMM");
  put_be(head, 24, 4);
  put_be(head, static_cast<std::uint64_t>(format.channels), 2);
  put_be(head, static_cast<std::uint64_t>(std::min<std::int64_t>(packets, 0xfffffffe)), 4);
  put_be(head, 16, 2);
  // An 80-bit extended number: exponent biased by 16383, mantissa with its leading one.
  int exponent = 0;
  const double fraction = std::frexp(static_cast<double>(format.sample_rate), &exponent);
  put_be(head, static_cast<std::uint64_t>(exponent - 1 + 16383), 2);
  put_be(head, static_cast<std::uint64_t>(std::ldexp(fraction, 64)), 8);
  put(head, "ima4");
  put_be(head, 0, 2);
  put(head, "SSND");
  put_be(head, 8 + size, 4);
  put_be(head, 0, 8);
  return head;
}

Head flac_decoder_head(const std::uint8_t* stream_info) {
  Head head;
  put(head, "fLaC");
  put_be(head, 0x80000022, 4);
  for (int i = 0; i < 34; ++i) head.push_back(stream_info[i]);
  return head;
}

}  // namespace sendworthy::audio
