#include "sheet/pair_words.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "base/text.h"
#include "sheet/phrases.h"

namespace sendworthy::sheet {
namespace {

constexpr double kShortS = 0.025;  // of an edit: less is nothing
constexpr double kLeastMoreS = 2e-6;

std::string decibels(double value) { return base::fixed(std::abs(value), 2) + " dB " + (value < 0 ? "softer" : "louder"); }

std::string gain_words(const Pair& pair) {
  const auto& gains = pair.channel_gains_db;
  const auto name = [&](std::size_t c) { return channel_name(static_cast<int>(c) + 1, static_cast<int>(gains.size())); };
  std::vector<double> known;
  std::string gone;
  for (std::size_t c = 0; c < gains.size(); ++c) {
    if (!gains[c]) continue;
    if (*gains[c] <= -144) {
      gone += (gone.empty() ? "" : ", ") + name(c) + (gains.size() == 1 ? "it" : "") + " silent now";
    } else {
      known.push_back(*gains[c]);
    }
  }
  if (pair.loose) return gone;
  const auto extremes = std::minmax_element(known.begin(), known.end());
  std::string text = gone;
  if (known.size() > 1 && *extremes.second - *extremes.first >= 0.05) {
    for (std::size_t c = 0; c < std::min<std::size_t>(gains.size(), 8); ++c) {
      if (gains[c] && *gains[c] > -144) text += (text.empty() ? "" : ", ") + name(c) + " " + (std::abs(*gains[c]) < 0.005 ? "unchanged" : decibels(*gains[c]));
    }
    return text;
  }
  return pair.gain_db == 0 ? text : (text.empty() ? "" : text + ", ") + decibels(pair.gain_db);
}

std::string polarity_words(const Pair& pair) {
  const auto inverted = std::count(pair.inverted.begin(), pair.inverted.end(), true);
  if (inverted == 0 || pair.loose) return "";
  if (inverted == static_cast<std::ptrdiff_t>(pair.inverted.size())) return "polarity inverted";
  std::string text;
  for (std::size_t c = 0; c < pair.inverted.size(); ++c) {
    if (pair.inverted[c]) text += (text.empty() ? "" : " and ") + channel_name(static_cast<int>(c) + 1, static_cast<int>(pair.inverted.size()));
  }
  return text + " inverted";
}

std::string speed_words(const Pair& pair) {
  if (pair.speed == 1) return "";
  const double percent = 100 * (1 / pair.speed - 1);
  const auto amount = std::abs(percent) >= 0.05 ? base::fixed(std::abs(percent), 2) + " %" : base::fixed(std::abs(1e4 * percent), 1) + " ppm";
  return amount + (percent > 0 ? " faster" : " slower") + (pair.clock.empty() ? "" : " (" + base::for_terminal(pair.clock) + ")");
}

std::string offset_words(const Pair& pair) {
  if (std::abs(pair.offset_frames) < 0.005) return "";
  const double frames = std::abs(pair.offset_frames);
  const bool whole = frames == std::round(frames);
  return base::fixed(frames, whole ? 0 : 2) + (frames == 1 ? " frame " : " frames ") + (pair.offset_frames > 0 ? "later" : "earlier") + " (" +
         base::fixed(std::abs(pair.offset_s), 4) + " s)";
}

std::string end_words(const Pair& pair) {
  // An edit at the end says it already.
  if (pair.ends_later_s == 0 || (!pair.edits.empty() && pair.ends_later_s < 0)) return "";
  return "ends " + base::fixed(std::abs(pair.ends_later_s), 3) + " s " + (pair.ends_later_s > 0 ? "later" : "earlier");
}

std::string rest_words(const Pair& pair) {
  if (pair.kind == Pair::Kind::different_mix) return "what is left lies " + base::fixed(std::abs(pair.null_db), 1) + " dB " + (pair.null_db < 0 ? "under" : "over") + " the old file";
  if (pair.kind != Pair::Kind::same_mix || pair.left_dbfs <= -144) return "";
  return "what is left lies at " + base::fixed(pair.left_dbfs, 1) + " dBFS";
}

std::string fold_words(const Pair& pair) {
  return pair.folded_to == 0 ? "" : std::string("held against each other in ") + (pair.folded_to == 1 ? "mono" : "stereo");
}

std::string rate_words(const Pair& pair) {
  return pair.old_rate == pair.new_rate ? "" : rate_text(pair.new_rate) + " instead of " + rate_text(pair.old_rate);
}

// The place alone; words_of() has it in both files.
std::string edit_words(const Pair& pair) {
  if (pair.edits.size() != 1) return "Changed in " + plural(pair.edits_total, "place", "places") + ", else the same";
  const auto words = words_of(pair.edits.front());
  return words.substr(0, words.find(" (")) + ", else the same";
}

std::string beginning(const Pair& pair) {
  switch (pair.kind) {
    case Pair::Kind::identical_bits: return "The very same file, to the last byte";
    case Pair::Kind::identical_audio: return "The same audio to the last bit; only what stands around it differs";
    case Pair::Kind::dither_only: return "The same but for dither: what is left is a faint, even noise";
    case Pair::Kind::gain_only: return "The same but for level";
    case Pair::Kind::same_mix: return "The same all through";
    case Pair::Kind::edited: return edit_words(pair);
    case Pair::Kind::different_mix: break;
  }
  if (!pair.aligned) return pair.remark.find("digital silence") != std::string::npos ? "Nothing to hold against each other" : "Nothing in common was found: another song, or another take";
  return "More than level, place or speed differs";
}

}  // namespace

std::string summary_of(const Pair& pair) {
  std::string text = beginning(pair);
  if (pair.aligned) {
    for (const auto& part : {gain_words(pair), offset_words(pair), polarity_words(pair), std::string(pair.swapped ? "left and right swapped" : ""), speed_words(pair), rate_words(pair), fold_words(pair), end_words(pair), rest_words(pair)}) {
      if (!part.empty()) text += "; " + part;
    }
  }
  if (!pair.remark.empty()) text += "; " + pair.remark;
  return text + ".";
}

std::string words_of(const Pair::Edit& edit) {
  const double old_length = edit.old_end_s - edit.old_start_s, new_length = edit.new_end_s - edit.new_start_s;
  const auto there = " (new file: " + base::clock_time(edit.new_start_s) + (new_length < kShortS ? "" : " to " + base::clock_time(edit.new_end_s)) + ")";
  if (old_length < kShortS && new_length >= kShortS) return base::fixed(new_length, 3) + " s put in at " + base::clock_time(edit.old_start_s) + there;
  // A few frames more or less: all that follows stands elsewhere.
  const double more = new_length - old_length;
  if (old_length < kShortS && new_length < kShortS && std::abs(more) >= kLeastMoreS)
    return base::fixed(1000 * std::abs(more), 3) + " ms " + (more > 0 ? "put in" : "taken out") + " at " + base::clock_time(edit.old_start_s) + there;
  const auto span = base::clock_time(edit.old_start_s) + " to " + base::clock_time(edit.old_end_s);
  if (edit.level_db) return span + " " + decibels(*edit.level_db) + there;
  if (new_length < kShortS && old_length >= kShortS) return span + " taken out" + there;
  return span + (std::abs(old_length - new_length) < kShortS ? " changed" : " replaced") + there;
}

std::string octave_name(double centre_hz) {
  // 31.25 Hz is called 31.5, as the preferred frequencies are (ISO 266).
  if (centre_hz < 40) return "31.5 Hz";
  if (centre_hz < 100) return "63 Hz";
  return centre_hz < 1000 ? base::fixed(centre_hz, 0) + " Hz" : base::shortest(centre_hz / 1000) + " kHz";
}

std::string difference_of(const Change& change, const Catalog& catalog) {
  const auto before = number(change.before.outcome), after = number(change.after.outcome);
  const auto* entry = catalog.find(change.id);
  if (!before || !after || entry == nullptr || entry->unit == Unit::boolean) return "";
  const auto text = digits(*after - *before, entry->decimals);
  return *after > *before && !text.empty() ? "+" + text : text;
}

std::string words_of(const Turn& turn) { return std::string(to_string(turn.after)) + ", was " + std::string(to_string(turn.before)); }

}  // namespace sendworthy::sheet
