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

// A waiver for a stretch of time covers a finding only when every place is known and lies inside. A measurement that is no
// count names its worst place alone: what the rest of the file does is then not known.
bool covers(const Waiver& waiver, const Finding& finding) {
  if (!waiver.from_s && !waiver.to_s) return true;
  if (finding.unit != Unit::count) return false;
  constexpr double kGuard = 1e-9;
  if (finding.where.empty() || finding.where_total > static_cast<std::int64_t>(finding.where.size())) return false;
  return std::all_of(finding.where.begin(), finding.where.end(), [&](const Where& where) {
    return (!waiver.from_s || where.start_s >= *waiver.from_s - kGuard) &&
           (!waiver.to_s || std::max(where.start_s, where.end_s) <= *waiver.to_s + kGuard);
  });
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

}  // namespace

std::vector<std::size_t> apply_waivers(const RuleSet& rule_set, const Subject& subject,
                                       std::vector<Finding>& findings) {
  std::vector<std::size_t> used;
  std::vector<Finding> ended;
  bool undated = false;
  for (std::size_t i = 0; i < rule_set.waivers.size(); ++i) {
    const auto& waiver = rule_set.waivers[i];
    if (!about_this_file(waiver, subject)) continue;
    if (has_ended(waiver, subject.today)) {
      ended.push_back(ended_finding(rule_set, waiver, subject.today));
      used.push_back(i);
      continue;
    }
    bool applied = false;
    for (auto& finding : findings) {
      if (finding.rule != waiver.rule || !can_be_waived(finding) || !covers(waiver, finding)) continue;
      finding.before_waiver = finding.status;
      finding.status = Status::waived;
      finding.waiver = AppliedWaiver{waiver.reason, waiver.by, waiver.until};
      applied = true;
    }
    if (applied) {
      used.push_back(i);
      undated = undated || subject.today.empty();
    }
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
    finding.remedy =
        "Take it out when the fault is mended; when the audio was bounced again or a file renamed, have it agreed "
        "again.";
    findings.push_back(std::move(finding));
  }
  return findings;
}

}  // namespace sendworthy::judge
