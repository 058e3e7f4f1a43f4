// The only place that knows the whole flow: file → measurements → findings → sheet.
#include <sendworthy/check.h>

#include <algorithm>
#include <cmath>
#include <exception>
#include <mutex>
#include <set>

#include "audio/file.h"
#include "base/text.h"
#include "check/copies.h"
#include "check/kept.h"
#include "check/second_opinion.h"
#include "judge/evaluate.h"
#include "measure/name_checks.h"
#include "measure/pass.h"
#include "measure/second_meter.h"
#include "safety/exposure.h"

namespace sendworthy {
namespace {

Facts facts_of(const audio::OpenedFile& file, const measure::PassResult& pass) {
  const auto& format = file.source->format();
  Facts facts;
  facts.container = file.facts.container;
  facts.encoding = file.facts.encoding;
  facts.sample_rate = format.sample_rate;
  facts.bit_depth = file.facts.bit_depth;
  facts.channels = format.channels;
  facts.channel_layout = format.layout;
  facts.frames = pass.frames;
  // Where nothing could be decoded the header's promise stands, for rules that ask only of files of some length.
  const auto frames = file.facts.not_decoded.empty() ? pass.frames : file.facts.declared_frames.value_or(0);
  facts.duration_s = static_cast<double>(frames) / format.sample_rate;
  facts.file_size = file.facts.file_size;
  facts.tags = file.facts.tags;
  return facts;
}

// Every rule was skipped: that is no pass.
Finding nothing_judged(const RuleSet& rule_set) {
  Finding finding;
  finding.ruleset = rule_set.name;
  finding.rule = "nothing-judged";
  finding.status = finding.before_waiver = Status::not_measured;
  finding.outcome = NotMeasured{"no rule of this set applies to this file"};
  finding.why = "Each rule asks for another kind of file or another role, so nothing was looked at.";
  finding.remedy = "Look at what was skipped and why; name the role with --role, or take another rule set.";
  finding.source = "definition";
  return finding;
}

class Checker {
 public:
  Checker(const std::vector<CheckItem>& items, const std::vector<RuleSet>& rule_sets, const CheckOptions& options,
          const CheckHooks& hooks, std::string copies_in = {})
      : items_(items), rule_sets_(rule_sets), options_(options), hooks_(hooks), copies_in_(std::move(copies_in)), used_waivers_(rule_sets.size()), kept_(options, hooks),
        crew_(options.jobs) {
    for (const auto& set : rule_sets) requests_.push_back(requests_of({set}));
  }

  Sheet run() {
    Sheet sheet;
    sheet.tool_version = version();
    sheet.libraries = library_versions();
    sheet.judged = options_.judge;
    for (const auto& set : rule_sets_) sheet.rules.push_back({set.name, set.title, set.purpose, set.digest, set.origin});
    sheet.files.resize(items_.size());
    crew_.run(items_.size(), [&](std::size_t index) {
      FileSheet& file = sheet.files[index];
      file.path = items_[index].path;
      file.role = items_[index].role;
      // The last line of defence: whatever one file does, the others still get their sheets.
      try {
        check(index, file);
      } catch (const std::bad_alloc&) {
        file.error = Error{ErrorCode::unreadable, base::for_terminal(file.path) + ": not enough memory to read this file", {}};
      } catch (const std::exception& problem) {
        file.error = Error{ErrorCode::unreadable,
                           base::for_terminal(file.path) + ": " + base::for_terminal(problem.what()), {}};
      }
      if (file.error) file.verdict = Verdict::fail;
      const std::lock_guard lock(hooks_mutex_);
      if (hooks_.file_done) hooks_.file_done(file);
    });
    std::stable_sort(sheet.files.begin(), sheet.files.end(),
                     [](const FileSheet& a, const FileSheet& b) { return a.path < b.path; });
    if (options_.judge) judge_set(sheet);
    return sheet;
  }

 private:
  void check(std::size_t index, FileSheet& sheet) {
    if (stopped()) {
      sheet.error = Error{ErrorCode::interrupted, base::for_terminal(sheet.path) + ": interrupted", {}};
      return;
    }
    const bool whole = items_[index].only.empty() && !is_copy(sheet.path);
    auto found = whole ? kept_.look_for(sheet.path, requests_of_item(items_[index])) : Kept::Found{};
    auto readings = found.readings ? Result<Readings>(std::move(*found.readings)) : measured(index, sheet.path, found);
    if (!readings) {
      sheet.error = readings.error();
      return;
    }
    if (is_copy(sheet.path)) count_as_given(*readings, std::string_view(sheet.path).substr(copies_in_.size()));
    sheet.facts = std::move(readings->facts);
    sheet.audio_digest = std::move(readings->audio_digest);
    sheet.measurements = std::move(readings->measurements);
    sheet.timelines = std::move(readings->timelines);
    sheet.pictures = std::move(readings->pictures);
    if (options_.file_digest) {
      const auto digest = audio::sha256_of_file(sheet.path);
      if (!digest) {
        sheet.error = digest.error();
        return;
      }
      sheet.file_digest = "sha256:" + *digest;
    }
    if (options_.judge) judge_file(items_[index], sheet);
    sheet.cautions = safety::cautions(sheet, options_.monitoring);
  }

  Result<Readings> measured(std::size_t index, const std::string& path, const Kept::Found& found) {
    auto opened = audio::open_file(path);
    if (!opened) return tl::unexpected(opened.error());
    measure::PassOptions pass_options;
    pass_options.requests = requests_of_item(items_[index]);
    pass_options.timelines = options_.timelines || options_.pictures;
    pass_options.pictures = options_.pictures;
    pass_options.second_meter = options_.second_meter;
    pass_options.stop = hooks_.stop;
    pass_options.only = items_[index].only;
    if (hooks_.progress) {
      pass_options.progress = [&, index](double fraction) {
        const std::lock_guard lock(hooks_mutex_);
        hooks_.progress({index, items_.size(), items_[index].path, fraction});
      };
    }
    auto pass = measure::run_pass(*opened, pass_options, crew_);
    if (!pass) return tl::unexpected(pass.error());
    if (pass->interrupted) return fail(ErrorCode::interrupted, base::for_terminal(path) + ": interrupted");
    Readings readings;
    readings.facts = facts_of(*opened, *pass);
    readings.audio_digest = pass->audio_digest;
    readings.measurements = std::move(pass->measurements);
    readings.timelines = std::move(pass->timelines);
    readings.pictures = std::move(pass->pictures);
    if (items_[index].only.empty()) kept_.keep(found, path, *opened, readings);
    return readings;
  }

  [[nodiscard]] std::vector<MeasureRequest> requests_of_item(const CheckItem& item) const {
    std::vector<MeasureRequest> all;
    for (const auto i : item.rule_sets) all.insert(all.end(), requests_[i].begin(), requests_[i].end());
    std::sort(all.begin(), all.end());
    all.erase(std::unique(all.begin(), all.end()), all.end());
    return all;
  }

  [[nodiscard]] bool is_copy(std::string_view path) const { return !copies_in_.empty() && path.starts_with(copies_in_); }

  static void count_as_given(Readings& readings, std::string_view given) {
    for (auto& one : readings.measurements) {
      if (one.id == "path_length") one.outcome = Value(static_cast<double>(measure::utf16_units(given)));
    }
  }

  void judge_file(const CheckItem& item, FileSheet& sheet) {
    judge::Subject subject;
    subject.path = sheet.path;
    subject.role = sheet.role;
    subject.container = sheet.facts.container;
    subject.audio_digest = sheet.audio_digest;
    subject.channels = sheet.facts.channels;
    subject.duration_s = sheet.facts.duration_s;
    subject.sample_rate = sheet.facts.sample_rate;
    subject.today = options_.today;
    for (const auto i : item.rule_sets) {
      auto judgement = judge::evaluate(rule_sets_[i], sheet.measurements, subject, catalog());
      if (judgement.findings.empty()) judgement.findings.push_back(nothing_judged(rule_sets_[i]));
      std::move(judgement.findings.begin(), judgement.findings.end(), std::back_inserter(sheet.findings));
      std::move(judgement.skipped.begin(), judgement.skipped.end(), std::back_inserter(sheet.skipped));
      const std::lock_guard lock(hooks_mutex_);
      used_waivers_[i].insert(judgement.used_waivers.begin(), judgement.used_waivers.end());
    }
    if (options_.second_meter) {
      auto second = second_opinion(sheet.measurements);
      std::move(second.begin(), second.end(), std::back_inserter(sheet.findings));
    }
    sheet.verdict = verdict_of(sheet.findings);
  }

  void judge_set(Sheet& sheet) {
    for (std::size_t i = 0; i < rule_sets_.size(); ++i) {
      const std::vector<std::size_t> used(used_waivers_[i].begin(), used_waivers_[i].end());
      auto findings = judge::unused_waivers(rule_sets_[i], used, options_.today);
      std::move(findings.begin(), findings.end(), std::back_inserter(sheet.findings));
    }
    sheet.verdict = verdict_of(sheet.findings);
    // Nothing checked is nothing passed.
    if (sheet.files.empty()) sheet.verdict = Verdict::fail;
    for (const auto& file : sheet.files) sheet.verdict = std::max(sheet.verdict, file.verdict);
  }

  [[nodiscard]] bool stopped() const { return hooks_.stop != nullptr && hooks_.stop->load(); }

  const std::vector<CheckItem>& items_;
  const std::vector<RuleSet>& rule_sets_;
  const CheckOptions& options_;
  const CheckHooks& hooks_;
  const std::string copies_in_;
  std::vector<std::vector<MeasureRequest>> requests_;  ///< of each rule set
  std::vector<std::set<std::size_t>> used_waivers_;
  Kept kept_;
  std::mutex hooks_mutex_;
  measure::Crew crew_;
};

/// Each judged by every rule set.
std::vector<CheckItem> items_of(const std::vector<std::string>& paths, const std::vector<RuleSet>& rule_sets, const CheckOptions& options) {
  std::vector<std::size_t> all(rule_sets.size());
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = i;
  std::vector<CheckItem> items;
  for (const auto& path : paths) items.push_back({path, options.role, all, {}});
  return items;
}

}  // namespace

Sheet check_files(const std::vector<std::string>& paths, const std::vector<RuleSet>& rule_sets, const CheckOptions& options,
                  const CheckHooks& hooks) {
  const auto items = items_of(paths, rule_sets, options);
  return Checker(items, rule_sets, options, hooks).run();
}

Sheet check_copies(const std::vector<std::string>& paths, const std::string& copies_in, const std::vector<RuleSet>& rule_sets,
                   const CheckOptions& options, const CheckHooks& hooks) {
  const auto items = items_of(paths, rule_sets, options);
  return Checker(items, rule_sets, options, hooks, copies_in).run();
}

Sheet check_items(const std::vector<CheckItem>& items, const std::vector<RuleSet>& rule_sets, const CheckOptions& options,
                  const CheckHooks& hooks) {
  return Checker(items, rule_sets, options, hooks).run();
}

std::string version() { return SENDWORTHY_VERSION; }

std::map<std::string, std::string> library_versions() {
  std::map<std::string, std::string> versions;
  for (auto& [name, number] : audio::audio_library_versions()) versions[name] = number;
  versions["libebur128"] = measure::second_meter_version();
  return versions;
}

}  // namespace sendworthy
