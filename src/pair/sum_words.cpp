#include "pair/sum_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "base/text.h"

namespace sendworthy::pair {
namespace {

constexpr std::size_t kPartsNamed = 6;
constexpr double kLongS = 0.02;  // in milliseconds too

std::string db(double value) { return base::fixed(value, 1) + " dB"; }

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

std::string_view law_db(PanLaw law) {
  switch (law) {
    case PanLaw::three_db: return "3 dB";
    case PanLaw::four_and_a_half_db: return "4.5 dB";
    case PanLaw::six_db: return "6 dB";
    case PanLaw::none: break;
  }
  return "0 dB";
}

/// In time as well, where nobody counts frames.
std::string late(double frames, double rate) {
  const double seconds = rate > 0 ? std::abs(frames) / rate : 0;
  return late_or_early(frames) + (seconds > kLongS ? fmt::format(" ({} ms)", base::fixed(1000 * seconds, 0)) : std::string());
}

std::string lasting(std::int64_t frames, double rate) {
  return fmt::format("{} {}", frames, frames == 1 ? "frame" : "frames") + (static_cast<double>(frames) > kLongS * rate ? fmt::format(" ({} ms)", base::fixed(1000 * static_cast<double>(frames) / rate, 0)) : std::string());
}

/// What keeps the parts from adding up, with the parts that are at fault.
std::string words_of(const Sum& sum, SumCause cause, const SumNames& what) {
  std::vector<std::string> parts;
  const auto with = [&](auto is, auto text) {
    for (const auto& part : sum.parts) {
      if (is(part)) parts.push_back(text(part));
    }
    return listed(parts);
  };
  const auto name = [&](const SumPart& part) { return what.name(part); };
  switch (cause) {
    case SumCause::sums: return "they add up";
    case SumCause::one_gain: {
      const auto law = sum.common_pan_law == PanLaw::none ? "" : fmt::format(": mono files, most likely under a pan law of {}", law_db(sum.common_pan_law));
      return fmt::format("one gain: {} are {}{}{}", what.all, moved(sum.common_gain_db), sum.common_inverted ? " and inverted" : "", law);
    }
    case SumCause::faders:
      return std::string(what.levels) + with([](const auto& part) { return part.off; }, [&](const auto& part) {
        const auto faders = fmt::format("{} {}", what.name(part), moved(part.gain_db));
        if (!part.also_in) return faders;
        const double held = 1 - std::pow(10, (part.gain_db - sum.common_gain_db) / 20);
        return fmt::format("{}, or doubled: {} holds it too, at {}", faders, what.name(sum.parts[*part.also_in]), db(20 * std::log10(held)));
      });
    case SumCause::pan: {
      std::optional<PanLaw> law;
      bool one_law = true;
      for (const auto& part : sum.parts) {
        if (!part.unbalanced && part.pan_law == PanLaw::none) continue;
        one_law = one_law && part.pan_law != PanLaw::none && part.pan_law == law.value_or(part.pan_law), law = part.pan_law;
      }
      return "panning: " + with([](const auto& part) { return part.unbalanced || part.pan_law != PanLaw::none; }, name) +
             (one_law && law ? fmt::format(", under a pan law of {}", law_db(*law)) : std::string());
    }
    case SumCause::polarity: {
      if (sum.common_inverted) return fmt::format("polarity: {} are inverted", what.all);
      const auto whole = with([](const auto& part) { return part.inverted; }, name);
      parts.clear();
      const auto in_part = with([](const auto& part) { return !inverted_channels(part).empty(); }, [&](const auto& part) { return fmt::format("{} {} inverted", what.name(part), inverted_channels(part)); });
      return fmt::format("polarity: {}{}{}", whole.empty() ? "" : whole + " inverted", whole.empty() || in_part.empty() ? "" : ", ", in_part);
    }
    case SumCause::delay: {
      const double common = sum.common_delay_frames;
      const auto others = with([&](const auto& part) { return part.delay_frames != common && !part.silent && !part.whole_mix && !part.copy_of; },
                               [&](const auto& part) { return what.name(part) + " " + late(part.delay_frames - common, sum.rate); });
      if (common == 0) return "delay: " + others;
      return fmt::format("delay: {} {}{}", what.all, late(common, sum.rate), others.empty() ? "" : ", and beside that " + others);
    }
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
        const auto name_of_gap = what.name(sum.parts[*sum.gaps[k].part]);
        parts.push_back(fmt::format("{} {} {}", name_of_gap, times_of(sum)[k], sum.gaps[k].in_mix ? "in the mix" : "in its file, it seems: something is missing there, and of all stems only this one falls silent"));
      }
      return "muted for a while: " + listed(parts);
    }
    case SumCause::doubled: {
      std::string text = "doubled";
      if (sum.doubled) return fmt::format("doubled: {} and {} hold the same", what.name(sum.parts[sum.doubled->first]), what.name(sum.parts[sum.doubled->second]));
      for (const auto& part : sum.parts) {
        if (part.holds.empty()) continue;
        std::vector<std::string> members;
        for (const auto i : part.holds) members.push_back(what.name(sum.parts[i]));
        return fmt::format("doubled: {} is the sum of {}, which are there by themselves", what.name(part), listed(members));
      }
      return text + ": " + with([](const auto& part) { return part.copy_of.has_value() || part.inside.has_value(); }, name);
    }
    case SumCause::ends: {
      std::string text;
      const auto one = [&](std::string_view which, std::string_view beyond, std::int64_t frames, auto missing) {
        if (frames == 0) return;
        parts.clear();
        text += fmt::format("{}missing at the {}: {}, {} of {}", text.empty() ? "" : "; ", which, lasting(frames, sum.rate), beyond, with([&](const auto& part) { return part.*missing > 0; }, name));
      };
      one("start", "before the first", sum.ends->start, &SumPart::missing_at_start);
      one("end", "behind the last", sum.ends->end, &SumPart::missing_at_end);
      return text;
    }
    case SumCause::not_in_mix: return "not in the mix: " + with([](const auto& part) { return part.not_in_mix; }, name);
    case SumCause::whole_mix: return fmt::format("the whole mix as {}: ", what.one) + with([](const auto& part) { return part.whole_mix; }, name);
    case SumCause::part_processing: return fmt::format("processing on {} alone: ", what.one) + with([](const auto& part) { return part.moving_db != 0; }, name);
    case SumCause::bus_processing:
      return sum.slow ? fmt::format("processing on the mix bus: its gain moves between {} and {}", db(sum.slow->lowest_db), db(sum.slow->highest_db)) : "processing on the mix bus";
    case SumCause::each_processing: return "processing on each of them alone, or on the mix bus and on each, such as a limiter: gains that move explain what is left";
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

Where loudest_rest(const Sum& sum, const std::string& mix_path, int rate) {
  const auto& rest = *sum.rest;
  std::string bands;
  auto octaves = rest.octaves;
  std::ranges::sort(octaves, std::greater<>{}, &SumBand::share);
  for (std::size_t i = 0; i < std::min<std::size_t>(2, octaves.size()); ++i)
    bands += fmt::format("{}{} Hz {} %", i == 0 ? "" : ", ", base::shortest(octaves[i].centre_hz), base::fixed(100 * octaves[i].share, 0));
  return {rest.loudest_from_s, rest.loudest_to_s, std::llround(rest.loudest_from_s * rate), std::llround(rest.loudest_to_s * rate), 0, mix_path, "most is left here" + (bands.empty() ? "" : "; of all that is left " + bands)};
}

Where place_of(const Sum& sum, const SumGap& gap, const SumNames& names, const std::string& mix_path, int rate) {
  const auto note = !gap.part ? std::string("here and nowhere else something is missing")
                              : fmt::format("{} is missing here{}", names.name(sum.parts[*gap.part]), gap.in_mix ? " in the mix" : ", it seems");
  return {gap.from_s, gap.to_s, std::llround(gap.from_s * rate), std::llround(gap.to_s * rate), 0, mix_path, note};
}

}  // namespace

std::string words_of(const Sum& sum, const SumNames& names) {
  auto text = words_of(sum, sum.cause, names);
  for (const auto cause : sum.also) text += "; " + words_of(sum, cause, names);
  if (sum.rest && sum.rest->like && (sum.cause == SumCause::missing || sum.cause == SumCause::unexplained))
    text += fmt::format("; most like {} through a filter ({} %): its effects", names.name(sum.parts[*sum.rest->like]), base::fixed(100 * sum.rest->like_share, 0));
  return text + fmt::format("; left over: {}", ladder_of(sum));
}

std::vector<Where> places_of(const Sum& sum, const SumNames& names, const std::string& mix_path, int sample_rate) {
  std::vector<Where> places;
  if (sum.rest) places.push_back(loudest_rest(sum, mix_path, sample_rate));
  const auto end = [&](std::int64_t from, std::int64_t to, const char* note) {
    const double rate = std::max(1.0, sum.rate);
    places.push_back({static_cast<double>(from) / rate, static_cast<double>(to) / rate, from, to, 0, mix_path, note});
  };
  if (sum.ends && sum.ends->start > 0) end(0, sum.ends->start, "missing at the start");
  if (sum.ends && sum.ends->end > 0) end(sum.frames - sum.ends->end, sum.frames, "missing at the end");
  for (const auto& gap : sum.gaps) places.push_back(place_of(sum, gap, names, mix_path, sample_rate));
  return places;
}

std::string inverted_channels(const SumPart& part) {
  std::vector<std::string> names;
  const auto& turned = part.channels_inverted;
  for (std::size_t c = 0; c < turned.size() && !part.inverted; ++c) {
    if (turned[c]) names.push_back(turned.size() == 2 ? (c == 0 ? "left" : "right") : std::to_string(c + 1));
  }
  if (names.empty()) return {};
  if (turned.size() == 2) return names.front() + " channel";
  std::string text = names.size() == 1 ? "channel " : "channels ";
  for (std::size_t k = 0; k < names.size(); ++k) text += (k == 0 ? "" : k + 1 == names.size() ? " and " : ", ") + names[k];
  return text;
}

std::string late_or_early(double frames) {
  const auto number = base::shortest(std::abs(std::round(frames * 100) / 100));
  return fmt::format("{} {} {}", number, number == "1" ? "frame" : "frames", frames > 0 ? "late" : "early");
}

}  // namespace sendworthy::pair
