#include "judge/evaluate.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <unordered_map>

#include "base/text.h"
#include "judge/compare.h"
#include "judge/waive.h"
#include "judge/words.h"

namespace sendworthy::judge {
namespace {

using Measured = std::unordered_map<std::string, const Measurement*>;

// Levels that follow the fader. Others in the same units do not: turning the song down does not mend its noise floor.
constexpr std::array<std::string_view, 9> kFollowsFader{"integrated_loudness",
                                                        "max_momentary_loudness",
                                                        "max_short_term_loudness",
                                                        "true_peak",
                                                        "sample_peak",
                                                        "rms_level",
                                                        "headroom",
                                                        "true_peak_after_lossy",
                                                        "a_weighted_level"};

std::string list_words(const std::vector<std::string>& items) {
  return base::for_terminal(fmt::format("{}", fmt::join(items, " or ")));
}

// Why the rule says nothing about this file, or "".
std::string unmet(const Conditions& conditions, const Subject& subject) {
  const auto holds = [](const std::vector<std::string>& items, const std::string& text) {
    return items.empty() || std::any_of(items.begin(), items.end(),
                                        [&](const std::string& item) { return same_text(item, text, true); });
  };
  if (!conditions.channels.empty() && std::find(conditions.channels.begin(), conditions.channels.end(),
                                                subject.channels) == conditions.channels.end()) {
    return fmt::format("for files with {} channel{}; this one has {}", number_list(conditions.channels),
                       conditions.channels.size() == 1 && conditions.channels.front() == 1 ? "" : "s",
                       subject.channels);
  }
  if (!holds(conditions.roles, subject.role)) {
    return subject.role.empty() ? fmt::format("for the role {}; this file was given none", list_words(conditions.roles))
                                : fmt::format("for the role {}; this file is {}", list_words(conditions.roles),
                                              base::for_terminal(subject.role));
  }
  if (!holds(conditions.containers, subject.container)) {
    return fmt::format("for {}; this file is {}", list_words(conditions.containers),
                       base::for_terminal(subject.container));
  }
  if (conditions.min_duration_s && subject.duration_s < *conditions.min_duration_s - 1e-9) {
    return fmt::format("for files of at least {} s; this one has {} s", base::shortest(*conditions.min_duration_s),
                       base::fixed(std::floor(subject.duration_s * 1000) / 1000, 3));  // never up to the limit
  }
  return {};
}

Outcome outcome_of(const MeasureRequest& request, const Measured& measured, const Catalog& catalog) {
  const auto found = measured.find(key_of(request));
  if (found != measured.end()) {
    const auto& outcome = found->second->outcome;
    if (const auto value = number(outcome); value && !std::isfinite(*value))
      return NotMeasured{"the meter gave no finite number"};
    return outcome;
  }
  const auto* entry = catalog.find(request.id);
  if (entry && !entry->available) return NotMeasured{"not measured by this version yet"};
  return NotMeasured{"there is no such measurement of this file"};
}

bool fits(const Value& value, Unit unit) {
  if (unit == Unit::boolean) return std::holds_alternative<bool>(value);
  if (unit == Unit::text || unit == Unit::list) return std::holds_alternative<std::string>(value);
  return std::holds_alternative<double>(value);
}

using NumberWords = std::string (*)(double, Unit, int);

std::string shown(const Value& value, Unit unit, int decimals, NumberWords words = value_with_unit) {
  if (const auto* yes = std::get_if<bool>(&value)) return *yes ? "yes" : "no";
  if (const auto* text = std::get_if<std::string>(&value)) return base::for_terminal(*text);
  return words(std::get<double>(value), unit, decimals);
}

// Change of level to a tenth of a decibel, never less than what is needed.
std::string change_words(double change_db) {
  return fmt::format("{} dB", base::fixed(std::ceil(std::fabs(change_db) * 10 - 1e-6) / 10, 1));
}

// How far the fader has to go until no limit on that side is passed any more: a programme that fails at -22 LUFS and
// warns at -22.8 is sent to -22.8. Notes are met only where nothing worse was said.
std::optional<double> fader_change(const Rule& rule, const Decision& decision, const Outcome& outcome) {
  const auto value = number(outcome);
  if (!value || rule.compare_to || decision.status == Status::pass) return std::nullopt;
  const auto kind = decision.comparison->kind;
  if (kind != LimitKind::above && kind != LimitKind::below) return std::nullopt;
  if (std::find(kFollowsFader.begin(), kFollowsFader.end(), rule.measure.id) == kFollowsFader.end())
    return std::nullopt;
  // A lower limit down there asks whether there is any sound: to raise a file just up to it helps nobody.
  constexpr double kHardlyAnySound = -40;
  if (kind == LimitKind::below && decision.comparison->number <= kHardlyAnySound) return std::nullopt;
  double change = decision.comparison->number - *value;
  for (const auto& comparison : rule.comparisons) {
    if (comparison.kind != kind || comparison.status == Status::note) continue;
    const double wanted = comparison.number - *value;
    change = kind == LimitKind::above ? std::min(change, wanted) : std::max(change, wanted);
  }
  return rule.measure.id == "headroom" ? -change : change;  // headroom grows when the level falls
}

class Judge {
 public:
  Judge(const RuleSet& set, const Measured& measured, const Subject& subject, const Catalog& catalog)
      : set_(set), measured_(measured), subject_(subject), catalog_(catalog) {}

  void judge(const Rule& rule, Judgement& judgement) const {
    if (auto reason = unmet(rule.conditions, subject_); !reason.empty()) {
      judgement.skipped.push_back({set_.name, rule.id, std::move(reason)});
      return;
    }
    Finding finding;
    finding.ruleset = set_.name;
    finding.rule = rule.id;
    finding.measure = rule.measure.id;
    finding.key = key_of(rule.measure);
    finding.source = rule.source;
    finding.optional = rule.optional;
    for (const auto& one : rule.comparisons) {
      if (one.kind == LimitKind::above || one.kind == LimitKind::below)
        finding.bounds.push_back({one.status, one.kind, one.number});
      for (const auto& value : one.accepted) {
        if (const auto* wanted = std::get_if<double>(&value); wanted != nullptr && one.kind == LimitKind::unless)
          finding.bounds.push_back({one.status, one.kind, *wanted});
      }
    }
    if (rule.tolerance > 0) finding.tolerance = rule.tolerance;

    const auto* entry = catalog_.find(rule.measure.id);
    const int decimals = entry ? entry->decimals : 1;
    finding.unit = entry ? entry->unit : Unit::text;
    if (const auto at = measured_.find(finding.key); at != measured_.end()) {
      finding.note = at->second->note;
      finding.where = at->second->where;
      if (finding.where.size() > kMaxWhere) finding.where.resize(kMaxWhere);
      finding.where_total = std::max(at->second->where_total, static_cast<std::int64_t>(at->second->where.size()));
    }
    finding.outcome = outcome_of(rule.measure, measured_, catalog_);
    if (rule.compare_to) compare(rule, entry, finding);

    if (const auto* reason = std::get_if<NotApplicable>(&finding.outcome)) {
      judgement.skipped.push_back({set_.name, rule.id, reason->reason});
      return;
    }
    if (const auto* value = std::get_if<Value>(&finding.outcome); value && !fits(*value, finding.unit))
      finding.outcome = NotMeasured{"the measurement has another type than its catalog entry"};
    if (const auto* value = std::get_if<Value>(&finding.outcome)) {
      decide_on(rule, *value, decimals, entry, finding);
    } else {
      finding.status = Status::not_measured;
      const auto& first = rule.comparisons.front();
      finding.limit_kind = first.kind;
      finding.limit_text = limit_words(rule, first, finding.unit, decimals, std::nullopt);
      finding.why = fill(rule.why, {});
      finding.remedy = fill(rule.remedy, {});
    }
    finding.before_waiver = finding.status;
    judgement.findings.push_back(std::move(finding));
  }

 private:
  // measure − compare_to, or whether both are equal.
  void compare(const Rule& rule, const CatalogEntry* entry, Finding& finding) const {
    const auto* other_entry = catalog_.find(rule.compare_to->id);
    const auto other = outcome_of(*rule.compare_to, measured_, catalog_);
    const Unit unit = finding.unit;
    finding.unit = unit_of_difference(unit);
    finding.compare_to = rule.compare_to->id;
    if (!std::holds_alternative<Value>(finding.outcome)) return;
    if (!std::holds_alternative<Value>(other)) {
      finding.outcome = other;
      return;
    }
    const auto& a = std::get<Value>(finding.outcome);
    const auto& b = std::get<Value>(other);
    if (!fits(a, unit) || !fits(b, other_entry ? other_entry->unit : unit)) {
      finding.outcome = NotMeasured{"the two measurements are of different types"};
      return;
    }
    const std::string both = fmt::format("{} {}, {} {}", rule.measure.id, shown(a, unit, entry ? entry->decimals : 1),
                                         rule.compare_to->id, shown(b, unit, other_entry ? other_entry->decimals : 1));
    finding.note = finding.note.empty() ? both : fmt::format("{}; {}", both, finding.note);
    const auto* x = std::get_if<double>(&a);
    const auto* y = std::get_if<double>(&b);
    finding.outcome = x && y ? Value(*x - *y) : Value(a == b);
  }

  void decide_on(const Rule& rule, const Value& value, int decimals, const CatalogEntry* entry,
                 Finding& finding) const {
    ValueKind kind;
    kind.list = entry && entry->unit == Unit::list;
    kind.ignore_case = entry && entry->group == Group::format;
    kind.frames_per_s = rule.measure.id == "duration" && !rule.compare_to ? subject_.sample_rate : 0;
    const auto decision = decide(rule, value, kind);
    finding.status = decision.status;
    finding.within_tolerance = decision.within_tolerance;
    finding.limit_kind = decision.comparison->kind;
    finding.limit = decision.limit;
    const bool passes = decision.status == Status::pass;
    finding.limit_text = limit_words(rule, *decision.comparison, finding.unit, decimals,
                                     passes ? std::nullopt : number(finding.outcome));

    Amounts amounts;
    amounts.value = shown(value, finding.unit, decimals);
    if (decision.limit) amounts.limit = shown(*decision.limit, finding.unit, decimals, limit_with_unit);
    finding.change_db = fader_change(rule, decision, finding.outcome);
    if (finding.change_db) {
      amounts.change = change_words(*finding.change_db);
      amounts.direction = *finding.change_db < 0 ? "down" : "up";
      const auto peak = number(outcome_of({"true_peak", {}}, measured_, catalog_));
      const auto clipped = number(outcome_of({"clipped_runs", {}}, measured_, catalog_));
      if (peak) {
        const double after = *peak + *finding.change_db;
        amounts.true_peak_after = value_with_unit(after, Unit::dbtp, 1);
        if (clipped.value_or(0) > 0 && *finding.change_db < 0) {
          // How far the peaks went is lost: once the level is lower, they come back.
          amounts.change = "at least " + amounts.change;
          amounts.true_peak_after = "higher than " + amounts.true_peak_after + ", for what was clipped off comes back";
        } else {
          finding.true_peak_after_db = after;
        }
      }
    }
    finding.why = fill(rule.why, amounts);
    if (passes) return;
    finding.remedy = fill(rule.remedy, amounts);
    if (finding.change_db && !says_amount(rule.remedy) && !says_amount(rule.why)) {
      // An encoder works nearly in proportion to the level: re-encoded 0.5 to 3 dB lower, peaks lay up to 0.4 dB off the
      // straight line at 160 kb/s and more, up to 1 dB at 128 kb/s.
      const bool encoded = rule.measure.id == "true_peak_after_lossy";
      finding.remedy += fmt::format(
          "{}{} the level by {}{}{}{}.", finding.remedy.empty() ? "" : " ", *finding.change_db < 0 ? "Lower" : "Raise",
          encoded ? "about " : "", amounts.change, encoded ? ", half a decibel more to be sure, and check again" : "",
          amounts.true_peak_after.empty() ? "" : fmt::format("; the true peak becomes {}", amounts.true_peak_after));
    }
  }

  const RuleSet& set_;
  const Measured& measured_;
  const Subject& subject_;
  const Catalog& catalog_;
};

}  // namespace

Judgement evaluate(const RuleSet& rule_set, const std::vector<Measurement>& measurements, const Subject& subject,
                   const Catalog& catalog) {
  Measured measured;
  for (const auto& measurement : measurements) measured.emplace(measurement.key, &measurement);
  Judgement judgement;
  const Judge judge(rule_set, measured, subject, catalog);
  for (const auto& rule : rule_set.rules) {
    if (rule.enabled && !rule.comparisons.empty()) judge.judge(rule, judgement);
  }
  judgement.used_waivers = apply_waivers(rule_set, subject, judgement.findings);
  return judgement;
}

}  // namespace sendworthy::judge
