#include "judge/waive.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"

namespace sendworthy::judge {
namespace {

bool about_this_file(const Waiver& waiver, const Subject& subject) {
  if (!waiver.audio_digest.empty() && waiver.audio_digest != subject.audio_digest) return false;
  if (waiver.files.empty()) return true;
  const auto slash = subject.path.rfind('/');
  const std::string_view name =
      slash == std::string::npos ? std::string_view(subject.path) : std::string_view(subject.path).substr(slash + 1);
  return base::matches_pattern(waiver.files, subject.path) || base::matches_pattern(waiver.files, name);
}

bool for_a_stretch(const Waiver& waiver) { return waiver.from_s || waiver.to_s; }

bool holds(const Waiver& waiver, const Where& where) {
  constexpr double kGuard = 1e-9;
  return (!waiver.from_s || where.start_s >= *waiver.from_s - kGuard) &&
         (!waiver.to_s || std::max(where.start_s, where.end_s) <= *waiver.to_s + kGuard);
}

// Whether every place of a finding is known. A measurement that is no count names its worst place alone: what the rest of the
// file does is then not known, and no waiver for a stretch of time covers it.
bool knows_every_place(const Finding& finding) {
  return (finding.unit == Unit::count || finding.every_place) && !finding.where.empty() &&
         finding.where_total <= static_cast<std::int64_t>(finding.where.size());
}

bool can_be_waived(const Finding& finding) {
  return finding.status == Status::fail || finding.status == Status::warn ||
         (finding.status == Status::not_measured && !finding.optional);
}

bool has_ended(const Waiver& waiver, std::string_view today) {
  return !today.empty() && waiver.until < today;  // both YYYY-MM-DD; the last day still counts
}

Finding about(const RuleSet& rule_set, const Waiver& waiver, Status status, std::string value) {
  Finding finding;
  finding.ruleset = rule_set.name;
  finding.rule = waiver.rule;
  finding.status = finding.before_waiver = status;
  finding.outcome = Value(std::move(value));
  finding.source = base::for_terminal(
      to_string(Error{ErrorCode::rules, fmt::format("waived because: {}", waiver.reason), waiver.place}));
  return finding;
}

Finding ended_finding(const RuleSet& rule_set, const Waiver& waiver, std::string_view today) {
  auto finding = about(rule_set, waiver, Status::fail, fmt::format("waiver ended on {}", waiver.until));
  finding.why = fmt::format("The waiver for {} held until {}; today is {}.", waiver.rule, waiver.until, today);
  finding.remedy = "Mend the fault and take the waiver out, or have it agreed again with a new until.";
  return finding;
}

/// What was agreed to by both, for as long as both hold.
AppliedWaiver together(std::optional<AppliedWaiver> one, const AppliedWaiver& other) {
  if (!one) return other;
  if (one->reason.find(other.reason) == std::string::npos) one->reason += "; " + other.reason;
  if (one->by.find(other.by) == std::string::npos) one->by += (one->by.empty() ? "" : ", ") + other.by;
  one->until = std::min(one->until, other.until);
  return *one;
}

}  // namespace

std::vector<std::size_t> apply_waivers(const RuleSet& rule_set, const Subject& subject,
                                       std::vector<Finding>& findings) {
  std::vector<std::size_t> used, valid;
  std::vector<Finding> ended;
  for (std::size_t i = 0; i < rule_set.waivers.size(); ++i) {
    const auto& waiver = rule_set.waivers[i];
    if (!about_this_file(waiver, subject)) continue;
    if (has_ended(waiver, subject.today)) {
      ended.push_back(ended_finding(rule_set, waiver, subject.today));
      used.push_back(i);
    } else {
      valid.push_back(i);
    }
  }
  bool undated = false;
  const auto use = [&](std::size_t i) {
    if (std::find(used.begin(), used.end(), i) == used.end()) used.push_back(i);
  };
  for (auto& finding : findings) {
    if (!can_be_waived(finding)) continue;
    std::vector<std::size_t> agreed;
    const auto whole = std::find_if(valid.begin(), valid.end(), [&](std::size_t i) {
      return rule_set.waivers[i].rule == finding.rule && !for_a_stretch(rule_set.waivers[i]);
    });
    if (whole != valid.end()) {
      agreed.push_back(*whole);
    } else {
      // Several stretches may cover what none covers alone. One that holds a place has met its fault, whether or not the rest
      // is agreed to.
      std::size_t covered = 0;
      for (const auto& where : finding.where) {
        bool inside = false;
        for (const auto i : valid) {
          if (rule_set.waivers[i].rule != finding.rule || !holds(rule_set.waivers[i], where)) continue;
          inside = true;
          // Of a finding about a set that names its worst places alone, a stretch of time has met nothing.
          if (!finding.measure.empty() || finding.every_place) use(i);
          if (std::find(agreed.begin(), agreed.end(), i) == agreed.end()) agreed.push_back(i);
        }
        covered += inside ? 1 : 0;
      }
      if (covered < finding.where.size() || !knows_every_place(finding)) agreed.clear();
    }
    if (agreed.empty()) continue;
    finding.before_waiver = finding.status;
    finding.status = Status::waived;
    for (const auto i : agreed) {
      use(i);
      const auto& waiver = rule_set.waivers[i];
      finding.waiver = together(std::move(finding.waiver), {waiver.reason, waiver.by, waiver.until});
    }
    undated = undated || subject.today.empty();
  }
  if (undated) {
    Finding finding;
    finding.ruleset = rule_set.name;
    finding.rule = "waivers";
    finding.status = finding.before_waiver = Status::note;
    finding.outcome = Value(std::string("no date given"));
    finding.why = "Waivers were applied without looking at their last day, because no date was given.";
    finding.remedy = "Give today's date to see which waivers have ended.";
    findings.push_back(std::move(finding));
  }
  for (auto& finding : ended) findings.push_back(std::move(finding));
  return used;
}

std::vector<Finding> unused_waivers(const RuleSet& rule_set, const std::vector<std::size_t>& used, std::string_view today) {
  std::vector<Finding> findings;
  for (std::size_t i = 0; i < rule_set.waivers.size(); ++i) {
    if (std::find(used.begin(), used.end(), i) != used.end()) continue;
    const auto& waiver = rule_set.waivers[i];
    std::string whom =
        waiver.files.empty() ? std::string() : fmt::format(" in files like \"{}\"", base::for_terminal(waiver.files));
    if (!waiver.audio_digest.empty()) whom += fmt::format(" for the audio {}", waiver.audio_digest);
    if (has_ended(waiver, today)) {
      findings.push_back(ended_finding(rule_set, waiver, today));
      continue;
    }
    auto finding = about(rule_set, waiver, Status::warn, "waiver not used");
    finding.why = fmt::format("The waiver for {}{} met no fault in any file of this run.", waiver.rule, whom);
    if (for_a_stretch(waiver)) finding.why += " One for a stretch of time meets a finding that names all of its places, and no other.";
    finding.remedy =
        "Take it out when the fault is mended; when the audio was bounced again or a file renamed, have it agreed "
        "again.";
    findings.push_back(std::move(finding));
  }
  return findings;
}

void apply_waivers(const std::vector<Waiver>& waivers, std::string_view ruleset, const std::string& path, const std::string& today, Sheet& sheet) {
  if (waivers.empty()) return;
  // One that has ended is told once, whatever it would have met.
  RuleSet set, ended;
  set.name = ended.name = ruleset;
  for (const auto& waiver : waivers) (has_ended(waiver, today) ? ended : set).waivers.push_back(waiver);
  std::vector<std::size_t> used;
  const auto use = [&](const std::vector<std::size_t>& more) { used.insert(used.end(), more.begin(), more.end()); };
  for (auto& file : sheet.files) {
    if (file.error) continue;
    Subject subject;
    subject.path = file.path;
    subject.audio_digest = file.audio_digest;
    subject.today = today;
    use(apply_waivers(set, subject, file.findings));
    file.verdict = verdict_of(file.findings);
  }
  std::vector<Finding> all;
  for (auto& finding : sheet.findings) {
    std::vector<Finding> one{std::move(finding)};
    // A finding about several files is met by a waiver for any of them, or for none in particular; where each is at fault by itself,
    // by waivers for each.
    const bool each_wants_one = one.front().each_file && one.front().files.size() > 1;
    const auto paths = one.front().files.empty() ? std::vector<std::string>{path} : one.front().files;
    std::size_t waived = 0;
    std::optional<AppliedWaiver> of_all;
    for (const auto& each : paths) {
      Subject subject;
      subject.path = each;
      subject.today = today;
      const auto file = std::ranges::find(sheet.files, each, &FileSheet::path);
      if (file != sheet.files.end()) subject.audio_digest = file->audio_digest;
      std::vector<Finding> tried{one.front()};
      use(apply_waivers(set, subject, tried));
      if (tried.front().status != Status::waived) continue;
      ++waived;
      const bool is_last = &each == &paths.back();
      if (each_wants_one && !is_last) {
        of_all = together(std::move(of_all), *tried.front().waiver);
        if (waived + 1 < paths.size()) continue;
        tried.front().waiver = std::move(of_all);
      }
      one.front() = std::move(tried.front());
      break;
    }
    all.push_back(std::move(one.front()));
  }
  sheet.findings = std::move(all);
  for (const auto& waiver : ended.waivers) sheet.findings.push_back(ended_finding(ended, waiver, today));
  for (auto& finding : unused_waivers(set, used, today)) sheet.findings.push_back(std::move(finding));
}

}  // namespace sendworthy::judge
