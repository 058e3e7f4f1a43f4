#include "judge/set_rule.h"

#include <utility>

namespace sendworthy::judge {

Finding finding_by(const SetRule& rule, std::string_view ruleset, Status status, std::string value, std::vector<std::string> files) {
  Finding finding;
  finding.ruleset = ruleset;
  finding.rule = rule.id;
  finding.title = rule.title;
  finding.status = finding.before_waiver = status;
  finding.outcome = Value(std::move(value));
  finding.files = std::move(files);
  finding.source = rule.source;
  if (status != Status::pass && status != Status::note) {
    finding.why = rule.why;
    finding.remedy = rule.remedy;
  }
  return finding;
}

Finding unmeasured_by(const SetRule& rule, std::string_view ruleset, std::string reason, std::vector<std::string> files, std::string_view remedy) {
  auto finding = finding_by(rule, ruleset, Status::not_measured, {}, std::move(files));
  if (remedy.empty()) {
    remedy = reason.find("has no sheet") != std::string::npos
                 ? kMakeReadable
                 : "Remove the cause that is named as the reason, then check again; until then nobody knows.";
  }
  finding.remedy = remedy;
  finding.outcome = NotMeasured{std::move(reason)};
  return finding;
}

}  // namespace sendworthy::judge
