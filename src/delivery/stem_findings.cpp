// Stems against the mix, and instrumental and a cappella against the main mix: what the sums say, in words.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "base/text.h"
#include "delivery/set_rules.h"
#include "delivery/version_findings.h"
#include "measure/name_checks.h"
#include "pair/sum.h"

namespace sendworthy::delivery {
namespace {

using pair::Sum;
using pair::SumCause;

constexpr double kVersionsSumDb = -30;  // needs a name: below it a small processing may be all that differs
constexpr std::size_t kPartsNamed = 6;

std::string db(double value) { return base::fixed(value, 1) + " dB"; }
std::string name_of_part(const pair::SumPart& part) { return base::for_terminal(measure::stem_of(measure::file_name_of(part.path))); }

std::string listed(const std::vector<std::string>& texts) {
  std::string all;
  for (std::size_t i = 0; i < std::min(kPartsNamed, texts.size()); ++i) all += (i == 0 ? "" : ", ") + texts[i];
  if (texts.size() > kPartsNamed) all += fmt::format(" and {} more", texts.size() - kPartsNamed);
  return all;
}

std::string moved(double db_value) { return fmt::format("{} {}", base::fixed(std::abs(db_value), 2) + " dB", db_value > 0 ? "too soft" : "too loud"); }

std::vector<std::string> times_of(const Sum& sum) {
  std::vector<std::string> times;
  for (const auto& gap : sum.gaps) times.push_back(fmt::format("from {} s to {} s", base::fixed(gap.from_s, 1), base::fixed(gap.to_s, 1)));
  return times;
}

/// What the parts are called: stems, or the two versions that make up a main mix.
struct Parts {
  std::string_view all, one, missing, levels;
};
constexpr Parts kStems{"all stems", "a stem", "a stem is missing: what is left of the mix is in none of them", "faders: "};
constexpr Parts kVersions{"both", "a version", "what is left of the main mix is in neither of them", "levels: "};

/// What keeps the parts from adding up, with the parts that are at fault.
std::string words_of(const Sum& sum, SumCause cause, const Parts& what) {
  std::vector<std::string> parts;
  const auto with = [&](auto is, auto text) {
    for (const auto& part : sum.parts) {
      if (is(part)) parts.push_back(text(part));
    }
    return listed(parts);
  };
  const auto name = [](const pair::SumPart& part) { return name_of_part(part); };
  switch (cause) {
    case SumCause::sums: return "they add up";
    case SumCause::one_gain: return fmt::format("one gain: {} are {}{}", what.all, moved(sum.common_gain_db), sum.common_inverted ? " and inverted" : "");
    case SumCause::faders:
      return std::string(what.levels) + with([](const auto& part) { return part.off; }, [](const auto& part) { return fmt::format("{} {}", name_of_part(part), moved(part.gain_db)); });
    case SumCause::pan: return "panning: " + with([](const auto& part) { return part.unbalanced; }, name);
    case SumCause::polarity:
      return "polarity: " + (sum.common_inverted ? std::string(what.all) + " are inverted" : with([](const auto& part) { return part.inverted || std::ranges::any_of(part.channels_inverted, [](bool one) { return one; }); }, name) + " inverted");
    case SumCause::delay:
      if (sum.common_delay_frames != 0) return fmt::format("delay: {} ", what.all) + late_or_early(sum.common_delay_frames);
      return "delay: " + with([](const auto& part) { return part.delay_frames != 0; },
                              [](const auto& part) { return name_of_part(part) + " " + late_or_early(part.delay_frames); });
    case SumCause::silent: return "silent: " + with([](const auto& part) { return part.silent; }, name);
    case SumCause::missing:
      if (!sum.gaps.empty()) return fmt::format("something is missing {} only: what is left of the mix there is in none of them", listed(times_of(sum)));
      return std::string(what.missing);
    case SumCause::crossed: return "left and right changed about: " + with([](const auto& part) { return part.crossed; }, name);
    case SumCause::folded: {
      const auto folded = with([](const auto& part) { return part.folded; }, name);
      return "folded to mono, while it stands in stereo in the mix: " + std::string(parts.size() > 1 ? "one of " : "") + folded;
    }
    case SumCause::gap: {
      for (std::size_t k = 0; k < sum.gaps.size(); ++k) {
        const auto name_of_gap = name_of_part(sum.parts[*sum.gaps[k].part]);
        parts.push_back(fmt::format("{} {} {}", name_of_gap, times_of(sum)[k], sum.gaps[k].in_mix ? "in the mix" : "in its file, it seems: something is missing there, and of all stems only this one falls silent"));
      }
      return "muted for a while: " + listed(parts);
    }
    case SumCause::doubled: {
      std::string text = "doubled";
      if (sum.doubled) return fmt::format("doubled: {} and {} hold the same", name_of_part(sum.parts[sum.doubled->first]), name_of_part(sum.parts[sum.doubled->second]));
      for (const auto& part : sum.parts) {
        if (part.holds.empty()) continue;
        std::vector<std::string> members;
        for (const auto i : part.holds) members.push_back(name_of_part(sum.parts[i]));
        return fmt::format("doubled: {} is the sum of {}, which are there by themselves", name_of_part(part), listed(members));
      }
      return text + ": " + with([](const auto& part) { return part.copy_of.has_value() || part.inside.has_value(); }, name);
    }
    case SumCause::not_in_mix: return "not in the mix: " + with([](const auto& part) { return part.not_in_mix; }, name);
    case SumCause::whole_mix: return fmt::format("the whole mix as {}: ", what.one) + with([](const auto& part) { return part.whole_mix; }, name);
    case SumCause::part_processing: return fmt::format("processing on {} alone: ", what.one) + with([](const auto& part) { return part.moving_db != 0; }, name);
    case SumCause::bus_processing:
      return sum.slow ? fmt::format("processing on the mix bus: its gain moves between {} and {}", db(sum.slow->lowest_db), db(sum.slow->highest_db)) : "processing on the mix bus";
    case SumCause::each_processing: return "processing on the mix bus and on each of them alone, such as a limiter: gains that move explain what is left";
    case SumCause::bus_filter: return "a filter on the mix bus";
    case SumCause::bus_distortion:
      if (sum.ceiling)
        return fmt::format("distortion on the mix bus: clipping; they add up but where the mix stands flat at {} dBFS ({} samples, the sum goes up to {} beyond)",
                           base::fixed(sum.ceiling->dbfs, 2), sum.ceiling->samples, db(sum.ceiling->over_db));
      return "distortion on the mix bus";
    case SumCause::unexplained: return "no single cause explains it";
  }
  return {};
}

std::string ladder_of(const Sum& sum) {
  std::string text;
  for (const auto& step : sum.ladder) text += (text.empty() ? "" : ", ") + fmt::format("{} {}", step.name, db(step.residual_db));
  return text;
}

Where loudest_rest(const Sum& sum, const Member& mix) {
  const auto& rest = *sum.rest;
  const auto rate = mix.file->facts.sample_rate;
  std::string bands;
  auto octaves = rest.octaves;
  std::ranges::sort(octaves, std::greater<>{}, &pair::SumBand::share);
  for (std::size_t i = 0; i < std::min<std::size_t>(2, octaves.size()); ++i)
    bands += fmt::format("{}{} Hz {} %", i == 0 ? "" : ", ", base::shortest(octaves[i].centre_hz), base::fixed(100 * octaves[i].share, 0));
  return {rest.loudest_from_s, rest.loudest_to_s, std::llround(rest.loudest_from_s * rate), std::llround(rest.loudest_to_s * rate), 0, mix.path, "most is left here" + (bands.empty() ? "" : "; of all that is left " + bands)};
}

Where place_of(const Sum& sum, const pair::SumGap& gap, const Member& mix) {
  const auto rate = mix.file->facts.sample_rate;
  const auto note = !gap.part ? std::string("here and nowhere else something is missing")
                              : fmt::format("{} is missing here{}", name_of_part(sum.parts[*gap.part]), gap.in_mix ? " in the mix" : ", it seems");
  return {gap.from_s, gap.to_s, std::llround(gap.from_s * rate), std::llround(gap.to_s * rate), 0, mix.path, note};
}

Finding sum_finding(std::string_view rule, const Sum& sum, const Member& mix, std::vector<std::string> files, bool to_the_bit) {
  if (sum.not_measured) return unmeasured(rule, *sum.not_measured, std::move(files));
  if (sum.cause == SumCause::sums && sum.also.empty()) return passed(rule, sum.residual_db <= -144 ? "nothing is left" : fmt::format("{} are left", db(sum.residual_db)), std::move(files));
  // Of versions only what a mix bus cannot explain is worth a word.
  if (!to_the_bit && sum.residual_db <= kVersionsSumDb && (sum.cause == SumCause::sums || sum.cause == SumCause::bus_processing || sum.cause == SumCause::each_processing || sum.cause == SumCause::one_gain || sum.cause == SumCause::faders))
    return passed(rule, fmt::format("{} are left with the gains that fit best", db(sum.residual_db)), std::move(files));
  const auto& what = to_the_bit ? kStems : kVersions;
  auto text = words_of(sum, sum.cause, what);
  for (const auto cause : sum.also) text += "; " + words_of(sum, cause, what);
  if (sum.rest && sum.rest->like && (sum.cause == SumCause::missing || sum.cause == SumCause::unexplained))
    text += fmt::format("; most like {} through a filter ({} %): its effects", name_of_part(sum.parts[*sum.rest->like]), base::fixed(100 * sum.rest->like_share, 0));
  text += fmt::format("; left over: {}", ladder_of(sum));
  auto finding = faulted(rule, text, std::move(files));
  if (sum.rest) {
    finding.where.push_back(loudest_rest(sum, mix));
    for (const auto& gap : sum.gaps) finding.where.push_back(place_of(sum, gap, mix));
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
