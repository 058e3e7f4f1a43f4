// Rule sets, waivers, patterns and expectations from anybody: reading them must end in a value or an error, and judging
// by what was read must give one finding or one skip for each enabled rule.
#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "judge/evaluate.h"

namespace {

using namespace sendworthy;

void require(bool holds) {
  if (!holds) std::abort();
}

// One measurement of each kind of value for every id, chosen by the id's length so that all kinds occur.
std::vector<Measurement> measurements() {
  std::vector<Measurement> all;
  for (const auto* entry : catalog().entries) {
    Measurement measurement;
    measurement.id = measurement.key = entry->id;
    const bool text = entry->unit == Unit::text || entry->unit == Unit::list;
    switch (entry->id.size() % 4) {
      case 0:
        measurement.outcome = NotMeasured{"silent"};
        break;
      case 1:
        measurement.outcome = NotApplicable{"mono"};
        break;
      default:
        measurement.outcome = entry->unit == Unit::boolean ? Value(true)
                              : text                       ? Value(std::string("fmt, bext, data"))
                                                           : Value(-1.5 * static_cast<double>(entry->id.size()));
    }
    measurement.where = {{.start_s = 1, .end_s = 2}};
    measurement.where_total = 1;
    all.push_back(std::move(measurement));
  }
  return all;
}

void judge_by(const RuleSet& set) {
  static const auto list = measurements();
  judge::Subject subject;
  subject.path = "a/mix.wav";
  subject.container = "WAV";
  subject.channels = 2;
  subject.duration_s = 100;
  subject.sample_rate = 48000;
  subject.today = "2026-06-01";
  const auto judgement = judge::evaluate(set, list, subject, catalog());
  std::size_t enabled = 0, about_rules = 0;
  for (const auto& rule : set.rules) enabled += rule.enabled ? 1 : 0;
  for (const auto& finding : judgement.findings) {
    about_rules += finding.measure.empty() ? 0 : 1;
    require(finding.status != Status::waived || finding.waiver.has_value());
    require(finding.remedy.find("{change}") == std::string::npos);
  }
  require(about_rules + judgement.skipped.size() == enabled);
  (void)judge::unused_waivers(set, judgement.used_waivers, "2026-01-01");
  (void)requests_of({set});
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto set = parse_rule_set(text, "fuzz", {}, catalog());
  // An error says what is wrong; what was understood names itself.
  require(set ? !set->name.empty() : !set.error().text.empty());
  if (set) judge_by(*set);

  std::vector<std::string> lines;
  for (std::string_view rest = text.substr(0, 2000); !rest.empty();) {
    const auto end = rest.find('\n');
    lines.emplace_back(rest.substr(0, end));
    rest = end == std::string_view::npos ? std::string_view() : rest.substr(end + 1);
    if (const auto expected = expectations({lines.back()}, catalog())) judge_by(*expected);
  }
  (void)expectations(lines, catalog());
  return 0;
}
