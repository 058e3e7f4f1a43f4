// A starting plan for a mix and its stems: sections found, roles guessed from names, numbers measured for a person to judge.
#include <fmt/format.h>
#include <sendworthy/song.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <limits>

#include "audio/file.h"
#include "base/text.h"
#include "measure/name_checks.h"
#include "song/as_printed.h"
#include "song/low_rows.h"
#include "song/new_plan.h"
#include "song/song_findings.h"
#include "song/structure.h"
#include "song/survey.h"

namespace sendworthy {
namespace song {
namespace {

namespace fs = std::filesystem;

/// A path as it is read from the folder in which the plan will lie.
std::string from_the_plan(const std::string& path, const std::string& plan_path) {
  std::error_code error;
  const auto folder = fs::path(plan_path).parent_path();
  const auto relative = fs::relative(path, folder.empty() ? fs::path(".") : folder, error);
  return error || relative.empty() ? path : relative.string();
}

bool same_file(const std::string& a, const std::string& b) {
  std::error_code error;
  return fs::equivalent(a, b, error) && !error;
}

/// A letter tells something where another section has it, too.
bool lettered(const Structure& structure, const FoundSection& section) {
  return !structure.from_markers && std::ranges::count(structure.sections, section.alike, &FoundSection::alike) > 1;
}

constexpr double kAllButSilentLu = 20, kShortestQuietS = 4;

/// The section of which a person may mean that it is the quietest: the softest, but none that is shorter than 4 s, nor 20 LU and more
/// under the median section, nor the fade at the end. Nothing where that is the loudest, too. Common practice, no source.
std::optional<std::size_t> quietest_of(const Structure& structure, const SongSheet& sheet) {
  std::vector<double> levels;
  for (const auto& one : sheet.sections) {
    if (one.loudness) levels.push_back(*one.loudness);
  }
  if (levels.size() < 2) return std::nullopt;
  const double median = percentile(levels, 0.5);
  std::optional<std::size_t> quietest;
  for (std::size_t i = 0; i < sheet.sections.size(); ++i) {
    const auto& one = sheet.sections[i];
    if (!one.loudness || structure.sections[i].fades_out || one.end_s - one.start_s < kShortestQuietS || *one.loudness <= median - kAllButSilentLu) continue;
    if (!quietest || *one.loudness < *sheet.sections[*quietest].loudness) quietest = i;
  }
  return quietest && sheet.sections[*quietest].rank > 1 ? quietest : std::nullopt;
}

std::string letter(int group) { return group < 1 || group > 26 ? std::string() : std::string(1, static_cast<char>('A' + group - 1)); }

/// What a limit leaves between itself and what was measured, LU or dB, so that the mix it was taken from keeps it whatever is rounded;
/// and of %.
constexpr double kRoom = 0.5, kRoomPercent = 2;

constexpr double kMost = 60;  // LU or dB, either way, that a plan takes

double down(double value) { return std::floor(10 * value + 1e-6) / 10; }
double up(double value) { return std::ceil(10 * value - 1e-6) / 10; }

std::string with_room(std::string_view unit) { return fmt::format(", with {} {} of room", base::shortest(kRoom), unit); }

PlanDraft::Guess at_least_of(double value, double lowest, std::string_view unit) {
  return {base::fixed(std::clamp(down(value - kRoom), lowest, kMost), 1), fmt::format("measured: {} {}{}", base::fixed(value, 1), unit, with_room(unit))};
}

class Guesses {
 public:
  Guesses(const SongSheet& sheet, std::optional<std::size_t> quietest, PlanDraft& draft) : sheet_(sheet), quietest_(quietest), guesses_(draft.guesses) {}

  void make() {
    span("vocal.above_band", &SongSheet::Section::vocal_over_bed);
    span("backing.under_lead", &SongSheet::Section::lead_over_backing);
    levels();
    parts();
    covered();
    if (sheet_.low_end) low_end(*sheet_.low_end);
  }

 private:
  void span(const char* key, std::optional<double> SongSheet::Section::* value) {
    double low = std::numeric_limits<double>::infinity(), high = -low;
    for (const auto& one : sheet_.sections) {
      if (one.*value) low = std::min(low, *(one.*value)), high = std::max(high, *(one.*value));
    }
    if (high < low || down(low - kRoom) < -kMost || up(high + kRoom) > kMost) return;
    guesses_[key] = {fmt::format("[{}, {}]", base::fixed(down(low - kRoom), 1), base::fixed(up(high + kRoom), 1)), fmt::format("measured: {} to {}{}", base::fixed(low, 1), lu(high), with_room("LU"))};
  }

  void levels() {
    std::vector<double> levels;
    for (const auto& one : sheet_.sections) {
      if (one.loudness) levels.push_back(*one.loudness);
    }
    std::ranges::sort(levels, std::greater<>());
    if (levels.size() < 2) return;
    if (quietest_) guesses_["dynamics.quiet_to_loud"] = at_least_of(levels.front() - *sheet_.sections[*quietest_].loudness, 0, "LU");
    guesses_["dynamics.biggest_margin"] = at_least_of(levels[0] - levels[1], 0, "LU");
  }

  void parts() {
    std::optional<double> least, most, moved;
    for (const auto& one : sheet_.stems) {
      if (one.movement) least = std::min(least.value_or(*one.movement), *one.movement), most = std::max(most.value_or(*one.movement), *one.movement);
      if (one.moved) moved = std::max(moved.value_or(0), std::abs(*one.moved));
    }
    if (least) guesses_["dynamics.movement"] = {base::fixed(std::clamp(down(*least - kRoom), 0.0, kMost), 1), fmt::format("measured: {} to {}{}", base::fixed(*least, 1), db(*most), with_room("dB"))};
    if (moved) guesses_["quiet.moved"] = {{}, "measured: up to " + db(*moved)};
  }

  void covered() {
    std::optional<double> most = sheet_.backing_masked;
    for (const auto& one : sheet_.pairs) most = std::max(most.value_or(0), one.masked);
    if (most) guesses_["masking.most"] = {base::fixed(std::min(100.0, std::ceil(*most + kRoomPercent)), 0), fmt::format("measured: up to {} %, by the priorities guessed, with {} % of room", base::fixed(*most, 0), base::shortest(kRoomPercent))};
  }

  void low_end(const SongSheet::LowEnd& low) {
    if (low.kick_over_bass) guesses_["low_end.kick_over_bass"] = at_least_of(*low.kick_over_bass, -kMost, "dB");
    if (low.bass_steadiness && up(*low.bass_steadiness + kRoom) <= kMost) guesses_["low_end.bass_steadiness"] = {base::fixed(up(*low.bass_steadiness + kRoom), 1), "measured: " + db(*low.bass_steadiness) + with_room("dB")};
    if (!low.kick_centre_hz || !low.bass_centre_hz) return;
    const double kick = as_printed(*low.kick_centre_hz, 0), bass = as_printed(*low.bass_centre_hz, 0);
    guesses_["low_end.lowest"] = {kick == bass ? std::string() : kick < bass ? "\"kick\"" : "\"bass\"", fmt::format("measured: kick at {} Hz, bass at {} Hz", base::fixed(kick, 0), base::fixed(bass, 0))};
  }

  const SongSheet& sheet_;
  std::optional<std::size_t> quietest_;
  std::map<std::string, PlanDraft::Guess, std::less<>>& guesses_;
};

std::string tag(const FileSheet& file, std::string_view name) {
  const auto found = std::ranges::find(file.facts.tags, name, &Tag::name);
  return found == file.facts.tags.end() ? std::string() : found->value;
}

Result<std::vector<std::string>> stems_in(const std::string& folder, const std::string& mix) {
  if (folder.empty()) return std::vector<std::string>{};
  auto found = audio::audio_files_in(folder, audio::Depth::here);
  if (!found) return tl::unexpected(found.error());
  std::erase_if(*found, [&](const std::string& path) { return same_file(path, mix); });
  if (found->empty()) return fail(ErrorCode::no_audio, base::for_terminal(folder) + ": no audio file beside the mix is in this folder");
  return *found;
}

}  // namespace
}  // namespace song

Result<std::string> new_plan(const std::string& mix, const NewPlanOptions& options, const CheckHooks& hooks) {
  using namespace song;
  const auto stems = stems_in(options.stems, mix);
  if (!stems) return tl::unexpected(stems.error());
  pair::Hooks quiet;
  quiet.stop = hooks.stop;
  const auto structure = structure_of(mix, quiet);
  if (!structure) return tl::unexpected(structure.error());
  if (!(structure->duration_s > 0)) return fail(ErrorCode::no_audio, base::for_terminal(mix) + ": not one frame of audio could be decoded; bounce it again");

  Plan plan;
  PlanDraft draft;
  plan.path = options.plan_path, plan.mix = mix;
  draft.mix = from_the_plan(mix, options.plan_path);
  for (const auto& one : structure->sections) {
    Section section;
    section.name = one.name, section.start_s = one.start_s, section.end_s = one.end_s;
    plan.sections.push_back(section);
    draft.sections.push_back({one.start_s, one.end_s, one.name, lettered(*structure, one) ? letter(one.alike) : std::string(), {}, false, false});
  }
  std::vector<std::string> names;
  for (const auto& path : *stems) names.emplace_back(measure::file_name_of(path));
  const auto roles = guess_roles(names);
  const auto priorities = guess_priorities(roles);
  for (std::size_t i = 0; i < stems->size(); ++i) {
    Stem stem;
    stem.name = names[i], stem.file = (*stems)[i], stem.role = roles[i].value_or(Role::other), stem.priority = priorities[i];
    plan.stems.push_back(stem);
    draft.stems.push_back({from_the_plan(stem.file, options.plan_path), roles[i], priorities[i], {}});
  }
  if (!options.stems.empty()) {
    // Where the folders are too deep or too full to be looked through, nothing is said of them.
    for (const auto& path : audio::audio_files_in(options.stems, audio::Depth::below).value_or(std::vector<std::string>{})) {
      if (std::ranges::find(*stems, path) == stems->end() && !same_file(path, mix)) draft.below.push_back(from_the_plan(path, options.plan_path));
    }
  }
  PlanOptions how;
  how.check.jobs = options.jobs;
  how.check.judge = false;
  const auto survey = survey_song(plan, how, hooks);
  if (hooks.stop != nullptr && hooks.stop->load()) return fail(ErrorCode::interrupted, base::for_terminal(mix) + ": interrupted");
  const auto& told = *survey.song;
  if (!survey.sheet.files.empty()) {
    const auto file = std::ranges::find(survey.sheet.files, mix, &FileSheet::path);
    if (file != survey.sheet.files.end()) draft.title = tag(*file, "title"), draft.artist = tag(*file, "artist");
  }
  const auto quietest = quietest_of(*structure, told);
  for (std::size_t i = 0; i < draft.sections.size(); ++i) {
    const auto& one = told.sections[i];
    if (!one.loudness) continue;
    auto& section = draft.sections[i];
    section.guess = base::fixed(*one.loudness, 1) + " LUFS" + (structure->sections[i].fades_out ? ", fades out" : "");
    section.loudest = one.rank == 1, section.softest = i == quietest;
  }
  for (std::size_t i = 0; i < draft.stems.size(); ++i) {
    const auto& one = told.stems[i];
    if (one.loudness) draft.stems[i].guess = fmt::format("{} LUFS, plays for {} s", base::fixed(*one.loudness, 1), base::fixed(one.active_s, 0));
  }
  // Where the stems are all of the mix, and every name tells what it plays, what none of them plays is not in the song.
  const auto all_told = std::ranges::all_of(roles, [](const auto& role) { return role.has_value(); });
  const auto none_of = [&](std::string_view finding, std::initializer_list<Role> absent) {
    const auto found = std::ranges::find(survey.findings, finding, &Finding::rule);
    return all_told && found != survey.findings.end() && found->status == Status::note && std::ranges::none_of(absent, [&](Role role) { return std::ranges::find(roles, role) != roles.end(); });
  };
  draft.without_vocals = none_of("vocal-placement", {Role::lead_vocal, Role::backing_vocal});
  draft.without_backing = none_of("backing-placement", {Role::backing_vocal});
  draft.without_drums = none_of("percussion-in-biggest", {Role::kick, Role::snare, Role::drums, Role::percussion});
  Guesses(told, quietest, draft).make();
  return starting_plan(draft);
}

}  // namespace sendworthy
