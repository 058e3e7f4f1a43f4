#include "desk/wave_head.h"

#include <limits>
#include <string_view>

#include "audio/speakers.h"

namespace sendworthy::desk {
namespace {

constexpr std::int64_t kPlainBytes = 80, kLongBytes = 116;
constexpr std::uint32_t kSaidElsewhere = 0xFFFFFFFF;  // in ds64
constexpr std::string_view kFloatFormat("\x03\0\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71", 16);  // KSDATAFORMAT_SUBTYPE_IEEE_FLOAT

std::int64_t data_bytes(int channels, std::int64_t frames) { return frames * channels * 4; }
bool is_long(std::int64_t data) { return data > std::numeric_limits<std::uint32_t>::max() - kPlainBytes; }

void put(std::string& text, std::uint64_t value, int bytes) {
  for (int i = 0; i < bytes; ++i) text += static_cast<char>(value >> (8 * i));
}

/// The channels in the order of the mask's bits, or none: a file may have them in another order.
std::uint32_t mask_of(const audio::StreamFormat& format) {
  if (!format.layout_known) return 0;
  std::uint32_t mask = 0;
  for (const auto speaker : format.speakers) {
    using enum audio::Speaker;
    switch (speaker) {
      case left: mask |= 1u; break;
      case right: mask |= 2u; break;
      case centre: mask |= 4u; break;
      case lfe: mask |= 8u; break;
      case left_back: mask |= 0x10u; break;
      case right_back: mask |= 0x20u; break;
      case centre_back: mask |= 0x100u; break;
      case left_surround: mask |= 0x200u; break;
      case right_surround: mask |= 0x400u; break;
      default: return 0;
    }
  }
  auto again = format;
  return audio::set_speakers_from_mask(again, mask) && again.speakers == format.speakers ? mask : 0;
}

}  // namespace

std::int64_t wave_head_bytes(int channels, std::int64_t frames) { return is_long(data_bytes(channels, frames)) ? kLongBytes : kPlainBytes; }

std::string wave_head(const audio::StreamFormat& format, std::int64_t frames) {
  const auto data = data_bytes(format.channels, frames);
  const bool large = is_long(data);
  const auto riff = static_cast<std::uint64_t>(wave_head_bytes(format.channels, frames) - 8 + data);
  const auto rate = static_cast<std::uint64_t>(format.sample_rate), channels = static_cast<std::uint64_t>(format.channels);
  std::string head = large ? "RF64" : "RIFF";
  put(head, large ? kSaidElsewhere : riff, 4);
  head += "WAVE";
  if (large) {
    head += "ds64";
    put(head, 28, 4);
    put(head, riff, 8);
    put(head, static_cast<std::uint64_t>(data), 8);
    put(head, static_cast<std::uint64_t>(frames), 8);
    put(head, 0, 4);
  }
  head += "fmt ";
  put(head, 40, 4);
  put(head, 0xFFFE, 2);
  put(head, channels, 2);
  put(head, rate, 4);
  put(head, rate * channels * 4, 4);
  put(head, channels * 4, 2);
  put(head, 32, 2);
  put(head, 22, 2);
  put(head, 32, 2);
  put(head, mask_of(format), 4);
  head += kFloatFormat;
  head += "fact";
  put(head, 4, 4);
  put(head, large ? kSaidElsewhere : static_cast<std::uint64_t>(frames), 4);
  head += "data";
  put(head, large ? kSaidElsewhere : static_cast<std::uint64_t>(data), 4);
  return head;
}

}  // namespace sendworthy::desk
