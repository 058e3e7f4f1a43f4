#include "song/structure.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <set>
#include <string>
#include <utility>

#include <fmt/format.h>

#include "audio/file.h"
#include "base/text.h"
#include "song/boundaries.h"
#include "song/features.h"
#include "song/likeness.h"

namespace sendworthy::song {
namespace {

constexpr double kSilence = -70;           // LUFS: the absolute gate of ITU-R BS.1770-5
constexpr double kShortestFoundS = 10;     // a file that is looked at for sections
constexpr double kShortestMarkedS = 0.5;   // nearer markers name one place
constexpr double kFadesDb = 6;
constexpr std::size_t kLongestName = 60;   // code points

struct Sound {
  double from_s = 0, to_s = 0;
};

// From the first to the last frame above the gate. A frame begins to hold a sound one step before the sound stands in its middle.
std::optional<Sound> sound_of(const Features& features) {
  const auto power = static_cast<float>(std::pow(10, (kSilence + 0.691) / 10));
  const auto loud = [power](float level) { return level > power; };
  const auto first = std::find_if(features.level.begin(), features.level.end(), loud);
  if (first == features.level.end()) return std::nullopt;
  const auto last = std::find_if(features.level.rbegin(), features.level.rend(), loud);
  const auto begin = static_cast<double>(first - features.level.begin()), behind = static_cast<double>(last - features.level.rbegin());
  Sound sound;
  sound.from_s = begin == 0 ? 0 : std::min((begin + 0.5) * features.step_s, features.duration_s);
  sound.to_s = behind == 0 ? features.duration_s : std::min((static_cast<double>(features.frames()) - behind - 1.5) * features.step_s, features.duration_s);
  if (sound.to_s <= sound.from_s) sound = {0, features.duration_s};  // a click in silence
  return sound;
}

std::string one_line(const std::string& bytes) {
  const auto text = base::clean_utf8(bytes);
  std::string name;
  std::size_t length = 0;
  bool blank = false;
  for (const auto& point : base::code_points(text)) {
    const bool control = point.code < 0x20 || (point.code >= 0x7f && point.code < 0xa0) || point.code == 0x2028 || point.code == 0x2029;
    if (control || point.code == ' ') {
      blank = !name.empty();
      continue;
    }
    if (++length > kLongestName) break;
    if (blank) name += ' ';
    blank = false;
    name += point.bytes;
  }
  return base::for_terminal(name);
}

struct Border {
  double at_s = 0;
  std::string name;
};

// From markers; none where no marker lies inside the sound.
std::vector<Border> marked(const std::vector<audio::Marker>& markers, int sample_rate, const Sound& sound) {
  std::vector<Border> borders;
  for (const auto& marker : markers) {
    const double at = static_cast<double>(marker.frame) / sample_rate;
    if (at < sound.to_s - kShortestMarkedS) borders.push_back({std::max(at, sound.from_s), one_line(marker.name)});
  }
  std::stable_sort(borders.begin(), borders.end(), [](const Border& a, const Border& b) { return a.at_s < b.at_s; });
  std::vector<Border> apart;
  for (auto& border : borders) {
    if (apart.empty() && border.at_s > sound.from_s + kShortestMarkedS) apart.push_back({sound.from_s, ""});
    if (apart.empty()) {
      apart.push_back({sound.from_s, std::move(border.name)});
    } else if (border.at_s < apart.back().at_s + kShortestMarkedS) {
      if (apart.back().name.empty()) apart.back().name = std::move(border.name);
    } else {
      apart.push_back(std::move(border));
    }
  }
  if (apart.size() < 2) apart.clear();
  return apart;
}

// No two sections of one name: a plan speaks of them by it.
void name(std::vector<FoundSection>& sections) {
  std::set<std::string> taken;
  for (const auto& section : sections) taken.insert(section.name);
  std::set<std::string> used;
  for (std::size_t i = 0; i < sections.size(); ++i) {
    auto& own = sections[i].name;
    const auto plain = own.empty() ? std::string("section") : own;
    if (own.empty()) own = fmt::format("section {}", i + 1);
    for (int number = 2; used.contains(own) || (own != plain && taken.contains(own)); ++number) own = fmt::format("{} {}", plain, number);
    used.insert(own);
  }
}

}  // namespace

Result<Structure> structure_of(const std::string& path, const pair::Hooks& hooks) {
  auto opened = audio::open_file(path);
  if (!opened) return tl::unexpected(opened.error());
  const auto markers = std::move(opened->facts.markers);
  const int sample_rate = opened->source == nullptr ? 0 : opened->source->format().sample_rate;
  opened->source.reset();
  const auto features = features_of(path, hooks);
  if (!features) return tl::unexpected(features.error());

  Structure structure;
  structure.duration_s = features->duration_s;
  const auto sound = sound_of(*features);
  if (!sound) return structure;
  auto borders = marked(markers, sample_rate, *sound);
  structure.from_markers = !borders.empty();
  if (borders.empty()) {
    borders.push_back({sound->from_s, ""});
    if (features->duration_s >= kShortestFoundS && sample_rate >= 8000) {
      for (const double at : boundaries_of(*features, sound->from_s, sound->to_s)) borders.push_back({at, ""});
    }
  }
  std::vector<double> times;
  for (const auto& border : borders) times.push_back(border.at_s);
  times.push_back(sound->to_s);
  const auto alike = likeness_of(*features, times);
  for (std::size_t i = 0; i < borders.size(); ++i) {
    FoundSection section{times[i], times[i + 1], borders[i].name, alike[i], 0};
    section.loudness_lufs = features->loudness_lufs(section.start_s, section.end_s);
    structure.sections.push_back(std::move(section));
  }
  if (structure.sections.size() > 1) {
    auto& last = structure.sections.back();
    const double middle_s = (last.start_s + last.end_s) / 2;
    last.fades_out = features->loudness_lufs(middle_s, last.end_s) <= features->loudness_lufs(last.start_s, middle_s) - kFadesDb;
  }
  name(structure.sections);
  return structure;
}

}  // namespace sendworthy::song
