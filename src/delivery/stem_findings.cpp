// Stems against the mix, and instrumental and a cappella against the main mix: what the sums say, in words.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "base/text.h"
#include "delivery/set_rules.h"
#include "delivery/version_findings.h"
#include "measure/name_checks.h"
#include "pair/sum_words.h"

namespace sendworthy::delivery {
namespace {

using pair::Sum;
using pair::SumCause;

constexpr double kVersionsSumDb = -30;  // needs a name: below it a small processing may be all that differs

std::string db(double value) { return base::fixed(value, 1) + " dB"; }

Finding sum_finding(std::string_view rule, const Sum& sum, const Member& mix, std::vector<std::string> files, bool to_the_bit) {
  if (sum.not_measured) return unmeasured(rule, *sum.not_measured, std::move(files));
  if (sum.cause == SumCause::sums && sum.also.empty()) return passed(rule, sum.residual_db <= -144 ? "nothing is left" : fmt::format("{} are left", db(sum.residual_db)), std::move(files));
  // Of versions only what a mix bus cannot explain is worth a word.
  if (!to_the_bit && sum.residual_db <= kVersionsSumDb && (sum.cause == SumCause::sums || sum.cause == SumCause::bus_processing || sum.cause == SumCause::each_processing || sum.cause == SumCause::one_gain || sum.cause == SumCause::faders))
    return passed(rule, fmt::format("{} are left with the gains that fit best", db(sum.residual_db)), std::move(files));
  pair::SumNames names;
  names.name = [](const pair::SumPart& part) { return base::for_terminal(measure::stem_of(measure::file_name_of(part.path))); };
  if (!to_the_bit) names.all = "both", names.one = "a version", names.missing = "what is left of the main mix is in neither of them", names.levels = "levels: ";
  auto finding = faulted(rule, pair::words_of(sum, names), std::move(files));
  if (sum.rest || sum.ends) {
    finding.where = pair::places_of(sum, names, mix.path, mix.file->facts.sample_rate);
    finding.where_total = static_cast<std::int64_t>(finding.where.size());
  }
  return finding;
}

void add_sum(std::string_view rule, const Member& mix, const std::vector<const Member*>& parts, bool to_the_bit, std::vector<Task>& tasks, std::deque<SumSeen>& seen) {
  auto& one = seen.emplace_back();
  one.rule = rule, one.files = {mix.path};
  std::vector<std::string> paths;
  for (const auto* part : parts) one.files.push_back(part->path), paths.push_back(part->path);
  const bool readable = mix.readable() && std::ranges::all_of(parts, [](const Member* part) { return part->readable(); });
  if (!readable) {
    one.findings.push_back(unmeasured(rule, "a file of the sum has no sheet", one.files));
    return;
  }
  tasks.push_back({mix.path, [&one, &mix, paths, to_the_bit](const pair::Hooks& hooks) {
                     const auto sum = pair::sum_of(mix.path, paths, hooks);
                     one.as_they_are = sum && !sum->not_measured && sum->cause == SumCause::sums && sum->also.empty();
                     one.findings.push_back(sum ? sum_finding(one.rule, *sum, mix, one.files, to_the_bit) : unmeasured(one.rule, base::for_terminal(sum.error().text), one.files));
                   }});
}

/// Each instrumental with each a cappella of a song, where both are held against one main mix.
void add_versions(const Members& members, const std::vector<HeldAgainst>& held, const std::string& title, std::vector<Task>& tasks, std::deque<SumSeen>& seen) {
  std::vector<const Member*> instrumentals, voices;
  for (const auto& one : members.all) {
    if (members.item_of(one).title != title) continue;
    if (members.item_of(one).version == Version::instrumental) instrumentals.push_back(&one);
    if (members.item_of(one).version == Version::a_cappella) voices.push_back(&one);
  }
  if (instrumentals.empty() || voices.empty()) return;
  bool any = false;
  for (const auto* instrumental : instrumentals) {
    for (const auto* voice : voices) {
      const auto* main = members.reference(*instrumental);
      if (main == nullptr || main != members.reference(*voice)) continue;
      any = true;
      // What stands at another place cannot add up; that it does is said by its alignment.
      const auto off = std::ranges::find_if(held, [&](const HeldAgainst& one) {
        return (one.version == instrumental || one.version == voice) && one.pair && one.pair->aligned && std::round(one.pair->offset_frames) != 0;
      });
      if (off == held.end()) {
        add_sum("versions-sum", *main, {instrumental, voice}, false, tasks, seen);
      } else {
        seen.emplace_back().findings.push_back(faulted("versions-sum", fmt::format("\"{}\" is not in line with the main mix, so they cannot add up", base::for_terminal(measure::file_name_of(off->version->path))),
                                                  {main->path, instrumental->path, voice->path}));
      }
    }
  }
  if (any) return;
  const auto& first = members.reference(*instrumentals.front()) == nullptr ? *instrumentals.front() : *voices.front();
  const auto reason = members.reference(first) == nullptr ? members.without_reference(first) : std::string("they are held against different files");
  seen.emplace_back().findings.push_back(unmeasured("versions-sum", reason, {instrumentals.front()->path, voices.front()->path}, kAddMain));
}

}  // namespace

void add_sum_tasks(const Members& members, const std::vector<HeldAgainst>& held, std::vector<Task>& tasks, std::deque<SumSeen>& seen) {
  // The stems of one song, or those that the order holds against one file.
  std::map<const Member*, std::vector<const Member*>> sets;
  std::vector<std::string> without;
  for (const auto& member : members.all) {
    if (members.item_of(member).version != Version::stem) continue;
    const auto* mix = members.reference(member);
    if (mix != nullptr) {
      sets[mix].push_back(&member);
    } else {
      without.push_back(member.path);
    }
  }
  if (!without.empty()) seen.emplace_back().findings.push_back(unmeasured("stems-sum-to-mix", "there is no mix in the set that they could add up to", std::move(without), kAddMain));
  // A required stem that is missing cannot add up; the sum says what is left.
  std::vector<std::pair<const Member*, std::vector<const Member*>>> ordered(sets.begin(), sets.end());
  std::ranges::sort(ordered, {}, [](const auto& one) { return one.first->path; });
  for (const auto& [mix, parts] : ordered) add_sum("stems-sum-to-mix", *mix, parts, true, tasks, seen);

  std::set<std::string> titles;
  for (const auto& item : members.order.items) titles.insert(item.title);
  for (const auto& title : titles) add_versions(members, held, title, tasks, seen);
}

}  // namespace sendworthy::delivery
