// The whole flow of `plan check`: plan → files → one walk through mix and stems → findings about the song.
#include <sendworthy/song.h>

#include <fmt/format.h>

#include <algorithm>
#include <mutex>

#include "base/text.h"
#include "judge/waive.h"
#include "measure/crew.h"
#include "song/listening.h"
#include "song/lost_stems.h"
#include "song/parts.h"
#include "song/song_findings.h"
#include "song/standing.h"
#include "song/survey.h"

namespace sendworthy {
namespace song {
namespace {

/// Of a stem as a file only this is asked for: the rest is told of mix and stems together.
const std::vector<std::string> kOfStems{"clipped_runs", "flat_top_runs", "non_finite_samples"};

/// The readings of mix and stems, and their sum; both cores have something to do.
class Readers {
 public:
  Readers(const Plan& plan, const PlanOptions& options, const CheckHooks& hooks) : plan_(plan), jobs_(std::max(1, options.check.jobs)), hooks_(hooks) {}

  void read(Measured& song) {
    const bool with_stems = song.why_no_stems.empty() && !plan_.stems.empty();
    auto alone = plan_;
    if (!with_stems) alone.stems.clear();
    pair::Hooks quiet;
    quiet.stop = hooks_.stop;
    auto shown = quiet;
    if (hooks_.progress) shown.progress = [this](double fraction) { hooks_.progress({0, 1, plan_.mix, fraction}); };
    std::optional<Result<SongReading>> reading;
    std::optional<Result<pair::Sum>> sum;
    measure::Crew crew(jobs_);
    crew.run(with_stems ? 2 : 1, [&](std::size_t job) {
      try {
        if (job == 0) {
          reading = read_song(alone, jobs_, shown);
        } else {
          std::vector<std::string> paths;
          for (const auto& stem : plan_.stems) paths.push_back(stem.file);
          sum = pair::sum_of(plan_.mix, paths, quiet);
        }
      } catch (const std::bad_alloc&) {
        out_of_memory_ = true;
      }
    });
    if (!reading || !*reading || (*reading)->too_long) {
      song.why_not = !reading || out_of_memory_ ? "not enough memory" : !*reading ? base::for_terminal(reading->error().text) : *(*reading)->too_long;
      if (song.why_no_stems.empty()) song.why_no_stems = song.why_not;
    } else {
      song.reading = std::move(**reading);
    }
    if (sum && *sum) {
      song.sum = std::move(**sum);
    } else if (with_stems && song.why_no_stems.empty()) {
      song.why_no_stems = sum ? base::for_terminal(sum->error().text) : "not enough memory";
    }
  }

 private:
  const Plan& plan_;
  int jobs_;
  const CheckHooks& hooks_;
  std::atomic<bool> out_of_memory_{false};
};

SongSheet::Reference reference_of(const std::string& path, const CheckHooks& hooks) {
  SongSheet::Reference one;
  one.path = path;
  auto parts = Parts::open(path, {});
  if (!parts) {
    one.trouble = parts.error().text;
    return one;
  }
  MixMeter meter(parts->rate(), parts->channels());
  const auto block = static_cast<std::int64_t>(parts->rate());
  std::int64_t at = 0;
  for (std::int64_t frames; (frames = parts->reach(at, block)) > 0; at += frames) {
    if (hooks.stop != nullptr && hooks.stop->load()) break;
    meter.push(parts->see(0, at, frames), frames);
  }
  if (const auto* error = parts->error()) {
    one.trouble = error->text;
    return one;
  }
  const auto mix = meter.finish();
  const Steps whole{0, mix.loudness.size()};
  one.loudness = integrated(mix.loudness, whole);
  if (const auto peak = true_peak(mix, whole); peak && one.loudness) one.peak_to_loudness_ratio = *peak - *one.loudness;
  one.low_share = low_share(mix, whole), one.side_to_mid = side_to_mid(mix, whole);
  return one;
}

const FileSheet* sheet_of(const Sheet& sheet, const std::string& path) {
  const auto found = std::ranges::find(sheet.files, path, &FileSheet::path);
  return found == sheet.files.end() ? nullptr : &*found;
}

std::string trouble_of(const FileSheet* file) {
  if (file == nullptr) return "a file has no sheet";
  if (file->error) return base::for_terminal(file->error->text);
  // They are read as silence, so that all would be measured of another sound.
  const auto found = std::ranges::find(file->measurements, "non_finite_samples", &Measurement::id);
  const auto count = found != file->measurements.end() ? number(found->outcome) : std::nullopt;
  return count && *count > 0 ? fmt::format("{}: {} samples are no numbers", base::for_terminal(file->path), base::shortest(*count)) : std::string();
}

}  // namespace

Survey survey_song(const Plan& plan, const PlanOptions& options, const CheckHooks& hooks) {
  Survey survey;
  std::vector<std::size_t> all_sets(options.rule_sets.size());
  for (std::size_t i = 0; i < all_sets.size(); ++i) all_sets[i] = i;
  std::vector<CheckItem> items{{plan.mix, "mix", all_sets, {}}};
  for (const auto& stem : plan.stems) items.push_back({stem.file, std::string(to_string(stem.role)), {}, kOfStems});
  survey.sheet = check_items(items, options.rule_sets, options.check, hooks);
  const auto stopped = [&] { return hooks.stop != nullptr && hooks.stop->load(); };
  if (stopped()) return survey;

  LostStems::Troubles troubles;
  for (const auto& stem : plan.stems) {
    const auto* file = sheet_of(survey.sheet, stem.file);
    troubles.push_back(file == nullptr || file->error ? trouble_of(file) : std::string());
  }
  const LostStems lost(plan, troubles);
  Measured song{lost.readable(), {}, {}, {}, {}, sheet_of(survey.sheet, plan.mix), {}, hooks.stop};
  song.why_not = trouble_of(song.mix);
  song.why_no_stems = song.why_not;
  for (const auto& stem : lost.readable().stems) {
    song.stems.push_back(sheet_of(survey.sheet, stem.file));
    if (song.why_no_stems.empty()) song.why_no_stems = trouble_of(song.stems.back());
  }
  if (song.why_not.empty()) Readers(lost.readable(), options, hooks).read(song);
  if (stopped()) return survey;

  survey.song = std::make_shared<SongSheet>();
  auto& told = *survey.song;
  auto& findings = survey.findings;
  describe(song, told);
  intent_finding(song, findings);
  size_findings(song, told, findings);
  percussion_finding(song, told, findings);
  vocal_findings(song, told, findings);
  condition_finding(song, findings);
  masking_findings(song, told, findings);
  movement_finding(song, told, findings);
  quiet_finding(song, told, findings);
  low_end_findings(song, told, findings);
  stem_findings(song, told, findings);
  hold_to_the_mix(song, findings);
  lost.tell(told, findings);
  for (const auto& one : plan.references) told.references.push_back(reference_of(one.file, hooks));
  std::ranges::stable_sort(findings, {}, [](const Finding& one) { return std::ranges::find(plan_rules(), one.rule, &judge::SetRule::id) - plan_rules().begin(); });
  return survey;
}

}  // namespace song

Result<Sheet> check_plan(const std::string& plan_path, const PlanOptions& options, const CheckHooks& hooks) {
  using namespace song;
  const auto plan = read_plan(plan_path);
  if (!plan) return tl::unexpected(plan.error());
  auto survey = survey_song(*plan, options, hooks);
  auto& sheet = survey.sheet;
  if (!survey.song) return sheet;
  sheet.song = std::move(survey.song);
  std::ranges::move(survey.findings, std::back_inserter(sheet.findings));
  const auto* mix = sheet_of(sheet, plan->mix);
  sheet.findings.push_back(listening_finding(*plan, mix != nullptr && !mix->error ? mix->audio_digest : std::string()));
  judge::apply_waivers(plan->waivers, kPlanRules, plan->path, options.check.today, sheet);
  sheet.verdict = verdict_of(sheet.findings);
  for (const auto& file : sheet.files) sheet.verdict = std::max(sheet.verdict, file.verdict);
  return sheet;
}

}  // namespace sendworthy
