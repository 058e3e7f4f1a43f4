// A starting plan for a mix and its stems: sections found, roles guessed from names, numbers measured for a person to judge.
#include <fmt/format.h>
#include <sendworthy/song.h>

#include <algorithm>
#include <filesystem>
#include <limits>

#include "audio/file.h"
#include "base/text.h"
#include "measure/name_checks.h"
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

std::string letter(int group) { return group < 1 || group > 26 ? std::string() : std::string(1, static_cast<char>('A' + group - 1)); }

/// "measured: 1.2 to 3.4 LU".
std::string span_of(const std::vector<SongSheet::Section>& sections, std::optional<double> SongSheet::Section::* value) {
  double low = std::numeric_limits<double>::infinity(), high = -low;
  for (const auto& one : sections) {
    if (one.*value) low = std::min(low, *(one.*value)), high = std::max(high, *(one.*value));
  }
  if (high < low) return {};
  return fmt::format("measured: {} to {}", base::fixed(low, 1), lu(high));
}

void guess_wishes(const SongSheet& sheet, PlanDraft& draft) {
  const auto guess = [&](const char* key, std::string text) {
    if (!text.empty()) draft.guesses[key] = std::move(text);
  };
  guess("vocal.above_band", span_of(sheet.sections, &SongSheet::Section::vocal_over_bed));
  guess("backing.under_lead", span_of(sheet.sections, &SongSheet::Section::lead_over_backing));
  std::vector<double> levels, moves;
  for (const auto& one : sheet.sections) {
    if (one.loudness) levels.push_back(*one.loudness);
  }
  std::ranges::sort(levels, std::greater<>());
  if (levels.size() >= 2) {
    guess("dynamics.quiet_to_loud", "measured: " + lu(levels.front() - levels.back()));
    guess("dynamics.biggest_margin", "measured: " + lu(levels[0] - levels[1]));
  }
  for (const auto& one : sheet.stems) {
    if (one.movement) moves.push_back(*one.movement);
  }
  if (!moves.empty()) guess("dynamics.movement", fmt::format("measured: {} to {}", base::fixed(*std::ranges::min_element(moves), 1), db(*std::ranges::max_element(moves))));
  if (!sheet.low_end) return;
  const auto& low = *sheet.low_end;
  if (low.kick_over_bass) guess("low_end.kick_over_bass", "measured: " + db(*low.kick_over_bass));
  if (low.bass_steadiness) guess("low_end.bass_steadiness", "measured: " + db(*low.bass_steadiness));
  if (low.kick_centre_hz && low.bass_centre_hz) guess("low_end.lowest", fmt::format("measured: kick at {} Hz, bass at {} Hz", base::fixed(*low.kick_centre_hz, 0), base::fixed(*low.bass_centre_hz, 0)));
}

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

  Plan plan;
  PlanDraft draft;
  plan.path = options.plan_path, plan.mix = mix;
  draft.mix = from_the_plan(mix, options.plan_path);
  for (const auto& one : structure->sections) {
    Section section;
    section.name = one.name, section.start_s = one.start_s, section.end_s = one.end_s;
    plan.sections.push_back(section);
    draft.sections.push_back({one.start_s, one.end_s, one.name, structure->from_markers ? std::string() : letter(one.alike), {}, false, false});
  }
  std::vector<std::string> names;
  for (const auto& path : *stems) names.emplace_back(measure::file_name_of(path));
  const auto roles = guess_roles(names);
  for (std::size_t i = 0; i < stems->size(); ++i) {
    Stem stem;
    stem.name = names[i], stem.file = (*stems)[i], stem.role = roles[i].value_or(Role::other);
    plan.stems.push_back(stem);
    draft.stems.push_back({from_the_plan(stem.file, options.plan_path), roles[i], {}});
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
  std::size_t lowest_rank = 0;
  for (const auto& one : told.sections) lowest_rank = std::max(lowest_rank, one.rank);
  for (std::size_t i = 0; i < draft.sections.size(); ++i) {
    const auto& one = told.sections[i];
    if (!one.loudness) continue;
    draft.sections[i].guess = base::fixed(*one.loudness, 1) + " LUFS";
    draft.sections[i].loudest = one.rank == 1, draft.sections[i].softest = one.rank == lowest_rank && lowest_rank > 1;
  }
  for (std::size_t i = 0; i < draft.stems.size(); ++i) {
    const auto& one = told.stems[i];
    if (one.loudness) draft.stems[i].guess = fmt::format("{} LUFS, plays for {} s", base::fixed(*one.loudness, 1), base::fixed(one.active_s, 0));
  }
  guess_wishes(told, draft);
  return starting_plan(draft);
}

}  // namespace sendworthy
