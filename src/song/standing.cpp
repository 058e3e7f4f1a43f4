#include "song/standing.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "base/text.h"
#include "pair/sum_words.h"

namespace sendworthy::song {
namespace {

constexpr double kExactDb = 0.1;    // of what the gains of a sum that nulls may be off
constexpr double kFittedDb = 0.5;   // of gains by least squares beside what stems do not hold: reverbs, doubles, a limiter's work
constexpr double kApartDb = -20;  // of what is left of the mix: more, and levels of stems to one another may be off by a decibel and more
constexpr double kAloneDb = 2;      // of one stem alone, whose likes in the mix add to it
constexpr double kLittleDb = 1.01, kLittleS = 0.01;
constexpr std::array<std::string_view, 9> kToldByStems{"percussion-in-biggest", "backing-placement", "priority-masking", "backing-masked", "movement", "quiet-listening", "kick-over-bass", "low-end-order", "bass-steadiness"};

bool off_in_level(double gain_db, double most_db) { return !(std::abs(gain_db) <= most_db); }

/// Causes that leave all stems to one another as they are.
bool of_all_alike(const pair::Sum& sum, pair::SumCause cause) {
  using enum pair::SumCause;
  switch (cause) {
    case sums:
    case one_gain:
    case silent:
    case ends:
    case bus_processing:
    case each_processing:
    case bus_filter:
    case bus_distortion: return true;
    case delay: return sum.common_delay_frames != 0;  // of the others, each is asked for itself
    case polarity: return sum.common_inverted;
    default: return false;
  }
}

/// What may have moved all stems against one another; empty: nothing.
std::string moved_apart(const pair::Sum& sum) {
  using enum pair::SumCause;
  const auto is = [&](pair::SumCause cause) { return sum.cause == cause || std::ranges::find(sum.also, cause) != sum.also.end(); };
  if (is(each_processing)) {
    // The least of the steps at which nothing moves; where gains of their own are told of stems, these are judged by themselves.
    double least = 0;
    for (std::size_t i = 0; i < sum.step && i < sum.ladder.size(); ++i) least = std::min(least, sum.ladder[i].residual_db);
    return least > kApartDb ? "every stem went through processing of its own, which moves its level beside the others" : "";
  }
  if (is(bus_processing) && sum.residual_db > kApartDb)
    return fmt::format("processing on the mix bus explains the mix to {} only, so that levels of the stems to one another in it are not known", db(sum.residual_db));
  return {};
}

std::size_t index_of(const Plan& plan, std::string_view file) {
  return static_cast<std::size_t>(std::ranges::find(plan.stems, file, &Stem::file) - plan.stems.begin());
}

/// The stems by which a finding is told: of a fault those that are at fault.
std::vector<std::size_t> tellers(const Plan& plan, const Finding& finding) {
  std::vector<std::size_t> stems;
  const bool all = finding.status == Status::pass && finding.rule == "backing-masked";
  for (std::size_t i = 0; all && i < plan.stems.size(); ++i) stems.push_back(i);
  for (const auto& file : finding.files) {
    if (const auto i = index_of(plan, file); !all && i < plan.stems.size()) stems.push_back(i);
  }
  return stems;
}

}  // namespace

std::string beside_its_stem(double gain_db) { return fmt::format("{} {} in the mix than in its stem", db(std::abs(gain_db)), gain_db < 0 ? "softer" : "louder"); }

Standing standing_of(const Measured& song, std::size_t stem) {
  const auto name = fmt::format("\"{}\"", base::for_terminal(song.plan.stems[stem].name));
  if (!song.sum || song.sum->not_measured) {
    if (const auto alone = song.reading ? song.reading->only_stem_in_mix_db : std::nullopt) {
      if (!off_in_level(*alone, kAloneDb)) return {};
      return {*alone < kGoneDb ? name + " is not in the mix" : fmt::format("{} stands {}", name, beside_its_stem(*alone)), false};
    }
    return {fmt::format("nothing tells whether {} stands in the mix as in its file{}", name, song.sum ? ": " + *song.sum->not_measured : ""), false};
  }
  const auto& sum = *song.sum;
  const auto& part = sum.parts[stem];
  if (sum.cause == pair::SumCause::sums && sum.also.empty()) return {};
  if (part.silent) return {};
  if (part.not_in_mix) return {name + " is not in the mix", false};
  if (part.whole_mix) return {name + " is the whole mix", false};
  if (part.copy_of) return {fmt::format("{} is the same sound as \"{}\"", name, base::for_terminal(song.plan.stems[*part.copy_of].name)), false};
  if (!part.holds.empty()) return {name + " holds other stems too", false};
  if (part.inside) return {fmt::format("{} is in \"{}\" too", name, base::for_terminal(song.plan.stems[*part.inside].name)), false};
  if (part.crossed) return {fmt::format("left and right of {} are changed about in the mix", name), true};
  if (part.folded) return {fmt::format("{} may be folded to mono", name), false};
  if (part.moving_db != 0) return {fmt::format("{} is processed in the mix: its gain moves by {}", name, db(part.moving_db)), false};
  if (auto apart = moved_apart(sum); !apart.empty()) return {std::move(apart), false};
  for (const auto& gap : sum.gaps) {
    if (gap.part == stem) return {fmt::format("{} is muted for a while {}", name, gap.in_mix ? "in the mix" : "in its file"), false};
  }
  if (sum.doubled && (sum.doubled->first == stem || sum.doubled->second == stem)) return {name + " holds what another stem holds too", false};
  if (!part.known) return {fmt::format("{} cannot be told apart from what the stems' sum leaves of the mix", name), false};
  if (part.inverted) return {fmt::format("{} stands upside down in the mix", name), true};
  if (const auto channels = pair::inverted_channels(part); !channels.empty()) return {fmt::format("the {} of {} stands upside down in the mix", channels, name), true};
  if (part.unbalanced) return {fmt::format("{} stands elsewhere between left and right in the mix", name), false};
  const double gain_db = part.gain_db - sum.common_gain_db, late = part.delay_frames - sum.common_delay_frames;
  if (off_in_level(gain_db, sum.nulls ? kExactDb : kFittedDb)) {
    const auto unless = part.also_in ? fmt::format(", unless \"{}\" holds it too", base::for_terminal(song.plan.stems[*part.also_in].name)) : std::string();
    return {fmt::format("{} stands {}{}", name, beside_its_stem(gain_db), unless), !off_in_level(gain_db, kLittleDb)};
  }
  if (std::abs(late) >= 0.5) return {fmt::format("the stem of {} is {}", name, pair::late_or_early(late)), std::abs(late) <= kLittleS * sum.rate};
  return {};
}

bool stems_tell_the_mix(const Measured& song) {
  if (!song.sum || song.sum->not_measured) return false;
  const auto& sum = *song.sum;
  const auto alike = [&](pair::SumCause cause) { return of_all_alike(sum, cause); };
  if (!alike(sum.cause) || !std::ranges::all_of(sum.also, alike)) return false;
  for (std::size_t i = 0; i < sum.parts.size(); ++i) {
    // A part too soft to be told apart changes nothing that could be.
    if (sum.parts[i].known && !standing_of(song, i).why.empty()) return false;
  }
  return true;
}

std::string shared_by_all(const Measured& song) {
  const auto& sum = *song.sum;
  if (sum.not_measured) return {};
  if (auto apart = moved_apart(sum); !apart.empty()) return apart;
  if (sum.common_inverted) return "the stems stand upside down in the mix";
  if (off_in_level(sum.common_gain_db, kFittedDb)) return fmt::format("all stems stand {} {} in the mix than in their files", db(std::abs(sum.common_gain_db)), sum.common_gain_db < 0 ? "softer" : "louder");
  if (sum.common_delay_frames != 0) return fmt::format("the stems are {}", pair::late_or_early(sum.common_delay_frames));
  return {};
}

void hold_to_the_mix(const Measured& song, Findings& findings) {
  if (!song.why_no_stems.empty() || song.stems_are_the_mix()) return;
  const auto& plan = song.plan;
  for (auto& one : findings) {
    if (std::ranges::find(kToldByStems, one.rule) == kToldByStems.end()) continue;
    const bool pass = one.status == Status::pass;
    if (!pass && one.status != Status::fail && one.status != Status::warn) continue;
    std::vector<std::string> why;
    for (const auto i : tellers(plan, one)) {
      const auto standing = standing_of(song, i);
      if (!standing.why.empty() && (pass || !standing.little) && std::ranges::find(why, standing.why) == why.end()) why.push_back(standing.why);
    }
    if (why.empty()) continue;
    const auto* told = std::get_if<Value>(&one.outcome);
    const auto* text = told != nullptr ? std::get_if<std::string>(told) : nullptr;
    auto reason = listed(why, 3) + (text != nullptr ? "; by the stems: " + *text : std::string());
    one = unmeasured(one.rule, plan.severities, std::move(reason), one.files, kPrintAgain);
  }
}

}  // namespace sendworthy::song
