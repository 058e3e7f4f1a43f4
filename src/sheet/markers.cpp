// Places of findings for laying beside the session: a CSV table and a Standard MIDI File with markers.
// MIDI: Standard MIDI Files 1.0 (RP-001); from memory. Format 0, 960 ticks per quarter note, 120 beats per minute, so
// one second is 1920 ticks and a marker lands within 0.27 ms of its place.
#include <sendworthy/render.h>
#include <sendworthy/song.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <string>
#include <tuple>
#include <vector>

#include "base/text.h"
#include "sheet/csv_row.h"
#include "sheet/order.h"
#include "sheet/phrases.h"

namespace sendworthy {
namespace sheet {
namespace {

constexpr int kTicksPerQuarter = 960;
constexpr double kTicksPerSecond = 1920;
constexpr std::uint32_t kLongestDelta = 0x0FFFFFFF;  // four bytes of seven bits
constexpr double kLastSecond = 1e6;                  // eleven days
constexpr std::size_t kLongestLabel = 120;

struct Marker {
  std::size_t file_index = 0;
  std::string file;
  double seconds = 0;
  std::int64_t frame = 0;
  int sample_rate = 0;
  std::string label;
  std::string status;
  [[nodiscard]] auto order() const { return std::tie(file_index, seconds, frame, label, status); }
};

double within_reach(double seconds) { return std::isfinite(seconds) ? std::clamp(seconds, 0.0, kLastSecond) : 0.0; }

std::string label_of(const std::string& title, const std::string& value, const Where& where, int channels) {
  std::string text = title;
  const auto channel = channel_name(where.channel, channels);
  if (!channel.empty()) text += ", " + channel;
  return text + ": " + (where.note.empty() ? value : base::for_terminal(where.note));
}

/// Of a file that is named; 0 where there is none of that name.
int rate_of(const std::vector<const FileSheet*>& files, const std::string& path) {
  const auto found = std::ranges::find(files, path, &FileSheet::path);
  return found == files.end() ? 0 : (*found)->facts.sample_rate;
}

std::vector<Marker> markers_of(const Sheet& sheet, const Catalog& catalog) {
  std::vector<Marker> markers;
  const auto files = in_order(sheet.files);
  const auto add = [&](std::size_t index, const Where& where, const std::string& title, const std::string& value,
                       std::string_view status) {
    const bool in_a_file = index < files.size();
    Marker marker;
    marker.file_index = index;
    marker.file = in_a_file ? files[index]->path : where.file;
    marker.seconds = within_reach(where.start_s);
    marker.frame = where.start_frame;
    marker.sample_rate = in_a_file ? files[index]->facts.sample_rate : rate_of(files, where.file);
    marker.label = label_of(title, value, where, in_a_file ? files[index]->facts.channels : 0);
    marker.status = status;
    markers.push_back(std::move(marker));
  };
  for (std::size_t i = 0; i < files.size(); ++i) {
    for (const auto& finding : files[i]->findings) {
      if (finding.status == Status::pass) continue;
      for (const auto& where : finding.where)
        add(i, where, title_of(finding, catalog), value_of(finding, catalog), to_string(finding.status));
    }
    if (sheet.judged) continue;
    for (const auto* measurement : in_order(files[i]->measurements)) {
      for (const auto& where : measurement->where)
        add(i, where, title_of(*measurement, catalog), value_of(*measurement, catalog), "measured");
    }
  }
  for (const auto& finding : sheet.findings) {
    if (finding.status == Status::pass) continue;
    for (const auto& where : finding.where)
      add(files.size(), where, title_of(finding, catalog), value_of(finding, catalog), to_string(finding.status));
  }
  std::stable_sort(markers.begin(), markers.end(),
                   [](const Marker& a, const Marker& b) { return a.order() < b.order(); });
  markers.erase(
      std::unique(markers.begin(), markers.end(),  // two rule sets may point at one place
                  [](const Marker& a, const Marker& b) { return a.order() == b.order() && a.file == b.file; }),
      markers.end());
  return markers;
}

std::string two_digits(std::int64_t number) { return (number < 10 ? "0" : "") + std::to_string(number); }

/// hh:mm:ss.mmm
std::string long_clock(double seconds) {
  const auto ms = static_cast<std::int64_t>(std::floor(seconds * 1000 + 0.5));
  auto fraction = std::to_string(ms % 1000);
  fraction.insert(0, 3 - fraction.size(), '0');
  return two_digits(ms / 3'600'000) + ":" + two_digits(ms / 60'000 % 60) + ":" + two_digits(ms / 1000 % 60) + "." +
         fraction;
}

void append_big_endian(std::string& out, std::uint32_t value, int bytes) {
  for (int shift = 8 * (bytes - 1); shift >= 0; shift -= 8)
    out += static_cast<char>((value >> static_cast<unsigned>(shift)) & 0xFFu);
}

/// A variable-length quantity: seven bits a byte, the first ones with the top bit set.
void append_quantity(std::string& out, std::uint32_t value) {
  for (unsigned shift = 21; shift > 0; shift -= 7) {
    if (value >> shift) out += static_cast<char>(((value >> shift) & 0x7Fu) | 0x80u);
  }
  out += static_cast<char>(value & 0x7Fu);
}

void append_meta(std::string& track, std::uint32_t delta, unsigned char type, std::string_view data) {
  append_quantity(track, delta);
  track += '\xFF';
  track += static_cast<char>(type);
  append_quantity(track, static_cast<std::uint32_t>(data.size()));
  track += data;
}

/// Marker texts carry no encoding: printable ASCII is what every program shows alike.
std::string ascii(std::string_view text) {
  std::string out;
  bool replaced = false;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte >= 0x20 && byte < 0x7F) {
      out += c;
      replaced = false;
    } else if (byte >= 0xC0 || !replaced) {  // one sign per character
      out += '?';
      replaced = true;
    }
    if (out.size() == kLongestLabel) break;
  }
  return out;
}

}  // namespace
}  // namespace sheet

std::string render_markers_csv(const Sheet& sheet, const Catalog& catalog) {
  std::string out = "time,seconds,frame,sample_rate,label,status,file\r\n";
  for (const auto& marker : sheet::markers_of(sheet, catalog)) {
    sheet::CsvRow row(out);
    row.raw(sheet::long_clock(marker.seconds));
    row.raw(sheet::digits(marker.seconds, 6));
    row.raw(std::to_string(marker.frame));
    row.raw(marker.sample_rate > 0 ? std::to_string(marker.sample_rate) : "");
    row.text(marker.label);
    row.text(marker.status);
    row.text(marker.file);
  }
  return out;
}

std::string render_markers_midi(const Sheet& sheet, const Catalog& catalog) {
  using namespace sheet;
  auto markers = markers_of(sheet, catalog);
  std::stable_sort(markers.begin(), markers.end(),
                   [](const Marker& a, const Marker& b) { return a.seconds < b.seconds; });
  constexpr unsigned char kText = 0x01, kTrackName = 0x03, kMarker = 0x06, kEnd = 0x2F, kTempo = 0x51, kMetre = 0x58;
  std::string track;
  append_meta(track, 0, kTrackName, "sendworthy");
  append_meta(track, 0, kTempo, std::string_view("\x07\xA1\x20", 3));      // 500,000 µs per quarter note
  append_meta(track, 0, kMetre, std::string_view("\x04\x02\x18\x08", 4));  // 4/4
  std::int64_t now = 0;
  for (const auto& marker : markers) {
    const auto tick = static_cast<std::int64_t>(std::floor(marker.seconds * kTicksPerSecond + 0.5));
    for (; tick - now > kLongestDelta; now += kLongestDelta) append_meta(track, kLongestDelta, kText, "");
    std::string label = marker.status + ": " + marker.label;
    if (sheet.files.size() > 1 && !(sheet.song && marker.file == sheet.song->mix)) label.insert(0, base::for_terminal(marker.file) + ": ");
    append_meta(track, static_cast<std::uint32_t>(tick - now), kMarker, ascii(label));
    now = tick;
  }
  append_meta(track, 0, kEnd, "");
  std::string out = "MThd";
  append_big_endian(out, 6, 4);
  append_big_endian(out, 0, 2);
  append_big_endian(out, 1, 2);
  append_big_endian(out, kTicksPerQuarter, 2);
  out += "MTrk";
  append_big_endian(out, static_cast<std::uint32_t>(track.size()), 4);
  return out + track;
}

}  // namespace sendworthy
