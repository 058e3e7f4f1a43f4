#include "song/lost_stems.h"

#include <algorithm>
#include <initializer_list>
#include <string_view>
#include <utility>
#include <variant>

namespace sendworthy::song {

LostStems::LostStems(const Plan& plan, const Troubles& troubles) : plan_(plan), readable_(plan) {
  readable_.stems.clear();
  for (std::size_t i = 0; i < plan.stems.size(); ++i) {
    if (troubles[i].empty()) {
      readable_.stems.push_back(plan.stems[i]);
    } else {
      lost_.push_back(i), why_ += (why_.empty() ? "" : "; ") + troubles[i];
    }
  }
  if (readable_.stems.empty()) readable_.stems = plan.stems, lost_.clear();
}

bool LostStems::might_change(const Finding& finding) const {
  using enum Role;
  const auto is = [&](std::initializer_list<std::string_view> rules) { return std::ranges::find(rules, finding.rule) != rules.end(); };
  const auto lost = [&](std::initializer_list<Role> wanted) {
    return std::ranges::any_of(lost_, [&](std::size_t i) { return std::ranges::find(wanted, plan_.stems[i].role) != wanted.end(); });
  };
  if (is({"stems-sum-to-mix", "stems-aligned"})) return true;  // without it the rest is no sum, and may stand anywhere in the mix
  if (is({"movement", "priority-masking", "backing-masked"})) return finding.status == Status::pass;  // a fault of the others stays one
  if (is({"vocal-placement", "vocal-condition"})) return lost({lead_vocal});
  if (is({"backing-placement"})) return lost({lead_vocal, backing_vocal});
  if (is({"quiet-listening"})) return lost({lead_vocal, lead, kick, snare});
  if (is({"kick-over-bass", "low-end-order"})) return lost({kick, bass});
  if (is({"bass-steadiness"})) return lost({bass});
  return is({"percussion-in-biggest"}) && lost({kick, snare, drums, percussion});
}

void LostStems::tell(SongSheet& sheet, Findings& findings) const {
  if (lost_.empty()) return;
  for (const auto i : lost_) {
    const auto& stem = plan_.stems[i];
    SongSheet::Stem one;
    one.name = stem.name, one.path = stem.file, one.role = std::string(to_string(stem.role)), one.priority = stem.priority;
    one.by_section.resize(sheet.sections.size());
    sheet.stems.insert(sheet.stems.begin() + static_cast<std::ptrdiff_t>(i), std::move(one));
  }
  for (auto& one : findings) {
    if (might_change(one)) {
      auto files = one.files;
      for (const auto i : lost_) files.insert(files.begin(), plan_.stems[i].file);
      one = unmeasured(one.rule, plan_.severities, why_, std::move(files));
    } else if (auto* none = std::get_if<NotMeasured>(&one.outcome); none != nullptr && one.rule != "intent-stated" && !none->reason.starts_with("not stated")) {
      none->reason += "; " + why_;
    }
  }
}

}  // namespace sendworthy::song
