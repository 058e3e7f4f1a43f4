#include "audio/speakers.h"

#include <algorithm>
#include <array>
#include <bit>
#include <string>
#include <string_view>
#include <utility>

namespace sendworthy::audio {
namespace {

using enum Speaker;
using Speakers = std::vector<Speaker>;

constexpr std::array kNames = {"?", "L", "R", "C", "LFE", "Ls", "Rs", "Lb", "Rb", "Cb", "other"};

struct NamedLayout {
  std::string_view name;
  Speakers speakers;  // sorted
};

// Names that are common practice. The order of the channels plays no part in them.
const std::vector<NamedLayout>& named_layouts() {
  static const std::vector<NamedLayout> layouts = [] {
    std::vector<NamedLayout> all = {
        {"mono", {centre}},
        {"stereo", {left, right}},
        {"2.1", {left, right, lfe}},
        {"3.0", {left, right, centre}},
        {"3.1", {left, right, centre, lfe}},
        {"quad", {left, right, left_surround, right_surround}},
        {"4.0", {left, right, centre, centre_back}},
        {"5.0", {left, right, centre, left_surround, right_surround}},
        {"5.1", {left, right, centre, lfe, left_surround, right_surround}},
        {"6.0", {left, right, centre, centre_back, left_surround, right_surround}},
        {"6.1", {left, right, centre, lfe, centre_back, left_surround, right_surround}},
        {"7.0", {left, right, centre, left_back, right_back, left_surround, right_surround}},
        {"7.1", {left, right, centre, lfe, left_back, right_back, left_surround, right_surround}},
    };
    for (auto& layout : all) std::sort(layout.speakers.begin(), layout.speakers.end());
    return all;
  }();
  return layouts;
}

// A single rear pair plays the part of the surrounds, whatever the file calls it: 5.1 "back" and 5.1 "side" are heard
// and weighted alike. Only beside a side pair is the other one "back".
void settle_rear_pair(Speakers& speakers) {
  const auto has = [&](Speaker s) { return std::find(speakers.begin(), speakers.end(), s) != speakers.end(); };
  if (has(left_surround) || has(right_surround)) return;
  std::replace(speakers.begin(), speakers.end(), left_back, left_surround);
  std::replace(speakers.begin(), speakers.end(), right_back, right_surround);
}

}  // namespace

void set_speakers(StreamFormat& format, Speakers speakers) {
  settle_rear_pair(speakers);
  if (speakers == Speakers{left}) speakers = {centre};
  format.speakers = std::move(speakers);
  format.layout_known = std::find(format.speakers.begin(), format.speakers.end(), unknown) == format.speakers.end();
  const auto count = std::to_string(format.speakers.size()) + " channels";
  if (!format.layout_known) {
    format.layout = count + ", layout unknown";
    return;
  }
  auto sorted = format.speakers;
  std::sort(sorted.begin(), sorted.end());
  for (const auto& named : named_layouts()) {
    if (named.speakers == sorted) {
      format.layout = named.name;
      return;
    }
  }
  format.layout = count;
  if (format.speakers.size() <= 12) {
    std::string list;
    for (const auto speaker : format.speakers) {
      if (!list.empty()) list += ' ';
      list += kNames[static_cast<std::size_t>(speaker)];
    }
    format.layout += " (" + list + ")";
  }
}

void set_default_speakers(StreamFormat& format) {
  if (format.channels == 1) return set_speakers(format, {centre});
  if (format.channels == 2) return set_speakers(format, {left, right});
  set_speakers(format, Speakers(static_cast<std::size_t>(std::max(0, format.channels)), unknown));
}

bool set_speakers_from_mask(StreamFormat& format, std::uint32_t mask) {
  // Bit order of dwChannelMask (ksmedia.h), from memory: FL FR FC LFE BL BR FLC FRC BC SL SR, then tops.
  constexpr std::array kBits = {left,  right, centre,      lfe,           left_back,     right_back,
                                other, other, centre_back, left_surround, right_surround};
  if (mask == 0 || std::popcount(mask) != format.channels) return false;
  Speakers speakers;
  for (std::size_t bit = 0; bit < 32; ++bit) {
    if (mask >> bit & 1) speakers.push_back(bit < kBits.size() ? kBits[bit] : other);
  }
  set_speakers(format, std::move(speakers));
  return true;
}

void set_flac_speakers(StreamFormat& format) {
  switch (format.channels) {
    case 3:
      return set_speakers(format, {left, right, centre});
    case 4:
      return set_speakers(format, {left, right, left_back, right_back});
    case 5:
      return set_speakers(format, {left, right, centre, left_back, right_back});
    case 6:
      return set_speakers(format, {left, right, centre, lfe, left_back, right_back});
    case 7:
      return set_speakers(format, {left, right, centre, lfe, centre_back, left_surround, right_surround});
    case 8:
      return set_speakers(format, {left, right, centre, lfe, left_back, right_back, left_surround, right_surround});
    default:
      return set_default_speakers(format);
  }
}

void set_vorbis_speakers(StreamFormat& format) {
  switch (format.channels) {
    case 3:
      return set_speakers(format, {left, centre, right});
    case 4:
      return set_speakers(format, {left, right, left_back, right_back});
    case 5:
      return set_speakers(format, {left, centre, right, left_back, right_back});
    case 6:
      return set_speakers(format, {left, centre, right, left_back, right_back, lfe});
    case 7:
      return set_speakers(format, {left, centre, right, left_surround, right_surround, centre_back, lfe});
    case 8:
      return set_speakers(format, {left, centre, right, left_surround, right_surround, left_back, right_back, lfe});
    default:
      return set_default_speakers(format);
  }
}

bool set_speakers_from_caf_tag(StreamFormat& format, std::uint32_t tag) {
  // Layout tags of the Core Audio Format specification, from memory: number in the upper half, channels in the lower.
  const Speaker Ls = left_surround, Rs = right_surround;
  static const std::vector<std::pair<std::uint32_t, Speakers>> layouts = {
      {100, {centre}},
      {101, {left, right}},
      {102, {left, right}},
      {108, {left, right, Ls, Rs}},
      {113, {left, right, centre}},
      {114, {centre, left, right}},
      {115, {left, right, centre, centre_back}},
      {116, {centre, left, right, centre_back}},
      {117, {left, right, centre, Ls, Rs}},
      {118, {left, right, Ls, Rs, centre}},
      {119, {left, centre, right, Ls, Rs}},
      {120, {centre, left, right, Ls, Rs}},
      {121, {left, right, centre, lfe, Ls, Rs}},
      {122, {left, right, Ls, Rs, centre, lfe}},
      {123, {left, centre, right, Ls, Rs, lfe}},
      {124, {centre, left, right, Ls, Rs, lfe}},
      {125, {left, right, centre, lfe, Ls, Rs, centre_back}},
      {126, {left, right, centre, lfe, Ls, Rs, other, other}},
      {127, {centre, other, other, left, right, Ls, Rs, lfe}},
      {128, {left, right, centre, lfe, Ls, Rs, left_back, right_back}},
      {131, {left, right, centre_back}},
      {132, {left, right, Ls, Rs}},
      {133, {left, right, lfe}},
      {134, {left, right, lfe, centre_back}},
      {135, {left, right, lfe, Ls, Rs}},
      {136, {left, right, centre, lfe}},
      {137, {left, right, centre, lfe, centre_back}},
      {138, {left, right, Ls, Rs, lfe}},
  };
  if (static_cast<int>(tag & 0xffff) != format.channels) return false;
  for (const auto& [number, speakers] : layouts) {
    if (number == tag >> 16 && static_cast<int>(speakers.size()) == format.channels) {
      set_speakers(format, speakers);
      return true;
    }
  }
  return false;
}

Speaker speaker_of_caf_label(std::uint32_t label) {
  switch (label) {
    case 1:
      return left;
    case 2:
      return right;
    case 3:
      return centre;
    case 4:
      return lfe;
    case 5:
    case 10:
      return left_surround;
    case 6:
    case 11:
      return right_surround;
    case 9:
      return centre_back;
    case 33:
      return left_back;
    case 34:
      return right_back;
    case 42:
      return centre;  // "mono"
    case 0:
    case 0xffffffff:
      return unknown;
    default:
      return other;
  }
}

double loudness_weight(Speaker speaker) {
  switch (speaker) {
    case lfe:
      return 0;
    case left_surround:
    case right_surround:
      return 1.41;
    default:
      return 1;
  }
}

}  // namespace sendworthy::audio
