// Kick and bass below a frequency, and what of the low end is lost in mono.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "song/as_printed.h"
#include "song/low_end.h"
#include "song/song_findings.h"

namespace sendworthy::song {
namespace {

constexpr double kUnlikeDb = 3.01;      // what channels that have nothing in common lose
constexpr std::size_t kFewestHits = 4;  // of a section, for a number of its own
constexpr double kGainsDb = 1;          // what turning or moving the bass must bring to be worth a word

constexpr double kLongestHitS = 4;      // of a kick that rings; own

std::string hits(std::size_t count) { return fmt::format("{} {}", count, count == 1 ? "hit" : "hits"); }
std::string hz(double value) { return fmt::format("{} Hz", std::round(value)); }

void fill(const LowEndReading& low, const LowEnd& plan, SongSheet& sheet) {
  sheet.low_end = SongSheet::LowEnd{};
  auto& out = *sheet.low_end;
  out.below_hz = plan.below_hz, out.wanted_kick_over_bass = plan.kick_over_bass_db;
  for (auto& section : sheet.sections) {
    std::vector<double> over;
    for (const auto& hit : low.hits) {
      if (!hit.free && hit.at_s >= section.start_s && hit.at_s < section.end_s) over.push_back(hit.over_db());
    }
    if (over.size() >= kFewestHits) section.kick_over_bass = percentile(std::move(over), 0.5);
  }
  for (const auto& hit : low.hits) out.hits.push_back({hit.at_s, hit.kick_db, hit.free ? std::nullopt : std::optional(hit.bass_db)});
  if (low.kick_over_bass) {
    out.kick_over_bass = low.kick_over_bass->median_db, out.kick_over_bass_p10 = low.kick_over_bass->low_db;
    out.share_below_zero = 100 * low.kick_over_bass->below_zero;
  }
  out.kick_centre_hz = low.kick_centre_hz, out.bass_centre_hz = low.bass_centre_hz;
  if (low.bass_steadiness) out.bass_steadiness = low.bass_steadiness->spread_db;
  if (low.together) {
    out.cancellation = low.together->now_db, out.flipped_gain = low.together->flipped_db - low.together->now_db;
    out.best_shift_ms = low.together->best_shift_ms, out.best_shift_gain = low.together->shifted_db - low.together->now_db;
  }
  if (low.mix_mono) out.mono_loss = low.mix_mono->whole_db, out.mono_loss_worst = low.mix_mono->worst_db, out.mono_loss_worst_at_s = low.mix_mono->worst_at_s;
  if (low.mix_punch) out.punch = low.mix_punch->db;
}

class LowEndJudge {
 public:
  LowEndJudge(const Measured& song, const LowEndReading& low, const SongSheet& sheet, Findings& findings) : song_(song), plan_(song.plan), low_(low), sheet_(sheet), findings_(findings), kick_(song.with_role(Role::kick)), bass_(song.with_role(Role::bass)) {
    both_ = kick_;
    both_.insert(both_.end(), bass_.begin(), bass_.end());
  }

  void over() {
    constexpr std::string_view kId = "kick-over-bass";
    if (missing(kId)) return;
    const auto files = song_.mix_and(both_);
    const auto wanted = plan_.low_end.kick_over_bass_db;
    if (!wanted) return findings_.push_back(not_stated(kId, plan_.severities, "[low_end] kick_over_bass, in dB", files, low_.kick_over_bass ? db(low_.kick_over_bass->median_db) : std::string()));
    if (const double sounds_s = kick_sounds_s(); !low_.hits.empty() && sounds_s > kLongestHitS * static_cast<double>(low_.hits.size()))
      return findings_.push_back(unmeasured(kId, plan_.severities, fmt::format("the kick sounds for {} s and shows {}: hits that run into one another are not told apart", base::fixed(sounds_s, 0), hits(low_.hits.size())), files, "Listen to the kick alone; shorten its hits, or judge this by ear and write kick-over-bass = \"note\" under [severity]."));
    if (!low_.kick_over_bass) {
      if (!low_.hits.empty() && !low_.bass_centre_hz)
        return findings_.push_back(unmeasured(kId, plan_.severities, fmt::format("the bass has nothing below {} in the channels that are measured; an LFE channel is not", hz(plan_.low_end.below_hz)), files, "Look at the stem's file, or raise [low_end] below_hz."));
      const auto why = low_.hits.empty() ? std::string("no hits were found in the kick") : std::string("the bass never plays when the kick hits");
      return findings_.push_back(low_.hits.empty() ? unmeasured(kId, plan_.severities, why, files, "Look at the kick's file.") : noted(kId, why + ": nothing is in its way", files));
    }
    const auto& over = *low_.kick_over_bass;
    auto text = fmt::format("{} below {} (median of {}; 10th percentile {}; {} % below 0 dB)", db(over.median_db), hz(plan_.low_end.below_hz), hits(over.hits), db(over.low_db), base::fixed(100 * over.below_zero, 0));
    if (over.free > 0) text += fmt::format("; {} without bass", over.free == 1 ? "1 hit is" : fmt::format("{} hits are", over.free));
    if (const auto under = under_it(*wanted); !under.empty()) text += "; under what is wanted in " + listed(under);
    text += cancellation();
    std::vector<Where> places;
    std::vector<const LowEndReading::Hit*> weak;
    for (const auto& hit : low_.hits) {
      if (!hit.free && !at_least(hit.over_db(), *wanted)) weak.push_back(&hit);
    }
    std::ranges::stable_sort(weak, [](const auto* a, const auto* b) { return a->over_db() < b->over_db(); });
    for (const auto* hit : weak) places.push_back(place(hit->at_s, hit->at_s + 0.08, song_.reading->rate, plan_.mix, fmt::format("{} over the bass", db(hit->over_db()))));
    if (at_least(over.median_db, *wanted)) return findings_.push_back(passed(kId, std::move(text), files));
    auto finding = faulted(kId, plan_.severities, text + fmt::format("; at least {} is wanted", db(*wanted)), files);
    put_moves(finding, fmt::format("The bass below {}", hz(plan_.low_end.below_hz)), bass_moves(*wanted));
    put_places(finding, std::move(places));
    findings_.push_back(std::move(finding));
  }

  void order() {
    constexpr std::string_view kId = "low-end-order";
    if (missing(kId)) return;
    const auto files = song_.mix_and(both_);
    const auto wanted = plan_.low_end.lowest;
    if (wanted == Lowest::not_stated)
      return findings_.push_back(not_stated(kId, plan_.severities, "[low_end] lowest = \"kick\" or \"bass\"", files, low_.kick_centre_hz && low_.bass_centre_hz ? fmt::format("kick at {}, bass at {}", hz(*low_.kick_centre_hz), hz(*low_.bass_centre_hz)) : std::string()));
    if (!low_.kick_centre_hz || !low_.bass_centre_hz)
      return findings_.push_back(unmeasured(kId, plan_.severities, fmt::format("the {} has nothing between 25 Hz and 160 Hz", low_.kick_centre_hz ? "bass" : "kick"), files, "Look at the stem's file."));
    const auto text = fmt::format("the kick is centred at {}, the bass at {}", hz(*low_.kick_centre_hz), hz(*low_.bass_centre_hz));
    const double kick = as_printed(*low_.kick_centre_hz, 0), bass = as_printed(*low_.bass_centre_hz, 0);
    if (wanted == Lowest::kick ? kick < bass : bass < kick) return findings_.push_back(passed(kId, text, files));
    findings_.push_back(faulted(kId, plan_.severities, fmt::format("{}; the {} is meant to reach lower", text, to_string(wanted)), files));
  }

  void steadiness() {
    constexpr std::string_view kId = "bass-steadiness";
    const auto files = song_.mix_and(bass_);
    if (!song_.why_no_stems.empty()) return none(kId, song_.why_no_stems, files, {});
    if (bass_.empty()) return none(kId, "no stem has the role bass", files, "bass");
    const auto wanted = plan_.low_end.bass_steadiness_db;
    if (!wanted) return findings_.push_back(not_stated(kId, plan_.severities, "[low_end] bass_steadiness, in dB", files, low_.bass_steadiness ? db(low_.bass_steadiness->spread_db) : std::string()));
    if (!low_.bass_steadiness) return findings_.push_back(unmeasured(kId, plan_.severities, "the bass plays for less than a second below " + hz(plan_.low_end.below_hz), files, "Look at the stem's file, or raise [low_end] below_hz."));
    const auto& steady = *low_.bass_steadiness;
    const auto text = fmt::format("{} from the 10th to the 95th percentile", db(steady.spread_db));
    if (at_most(steady.spread_db, *wanted)) return findings_.push_back(passed(kId, text, files));
    auto finding = faulted(kId, plan_.severities, text + fmt::format("; at most {} is wanted", db(*wanted)), files);
    std::vector<Where> places;
    for (const auto& loud : steady.loudest)
      places.push_back(place(loud.at_s - 0.2, loud.at_s + 0.2, song_.reading->rate, files.front(), fmt::format("{} over its median, at {}", db(loud.over_median_db), hz(loud.hz))));
    put_places(finding, std::move(places));
    findings_.push_back(std::move(finding));
  }

  /// Of the stem that sounds the longest.
  [[nodiscard]] double kick_sounds_s() const {
    double most = 0;
    for (const auto i : kick_) most = std::max(most, kStepS * static_cast<double>(std::ranges::count(active_windows(song_.reading->stems[i].loudness), true)));
    return most;
  }

  void mono() {
    constexpr std::string_view kId = "mono-low-end";
    const std::vector<std::string> files{plan_.mix};
    if (!song_.reading) return none(kId, song_.why_not, files, {});
    if (song_.reading->channels < 2) return findings_.push_back(noted(kId, "the mix is mono", files));
    if (!low_.mix_mono) return findings_.push_back(unmeasured(kId, plan_.severities, fmt::format("the mix has nothing below {}", hz(plan_.low_end.below_hz)), files, "Look at the mix."));
    auto text = fmt::format("{} lost over the song, {} in the worst second", db(low_.mix_mono->whole_db), db(low_.mix_mono->worst_db));
    if (song_.reading->channels > 1 && low_.mix_punch && plan_.stems.empty()) text += fmt::format("; in the mix below {}, attacks stand {} over what follows each of them (median of {})", hz(plan_.low_end.below_hz), db(low_.mix_punch->db), low_.mix_punch->attacks);
    const auto lost = std::max(low_.mix_mono->whole_db, low_.mix_mono->worst_db);
    if (at_most(lost, kUnlikeDb)) return findings_.push_back(passed(kId, text, files));
    if (const auto stem = most_lost(); !stem.empty()) text += "; " + stem;
    auto finding = faulted(kId, plan_.severities, text, files);
    put_places(finding, {place(low_.mix_mono->worst_at_s, low_.mix_mono->worst_at_s + 1, song_.reading->rate, plan_.mix, fmt::format("{} lost", db(low_.mix_mono->worst_db)))});
    findings_.push_back(std::move(finding));
  }

 private:
  /// Where the kick is under what is wanted; with no section under it, or without sections, all over the song.
  [[nodiscard]] std::vector<Move> bass_moves(double wanted) const {
    std::vector<Move> moves;
    for (const auto& section : sheet_.sections) {
      if (section.kick_over_bass && *section.kick_over_bass < wanted) moves.push_back({section.name, *section.kick_over_bass - wanted});
    }
    if (moves.empty()) moves.push_back({"", low_.kick_over_bass->median_db - wanted});
    return moves;
  }
  void none(std::string_view id, std::string why, std::vector<std::string> files, std::string_view role) {
    findings_.push_back(unmeasured(id, plan_.severities, std::move(why), std::move(files), role.empty() ? std::string() : fmt::format("Print the {} as a stem and add it to the plan; where the song has none, write {} = \"note\" under [severity].", role, id)));
  }
  bool missing(std::string_view id) {
    const bool readable = song_.why_no_stems.empty();
    if (readable && !kick_.empty() && !bass_.empty()) return false;
    const std::string_view role = kick_.empty() ? "kick" : "bass";
    none(id, readable ? fmt::format("no stem has the role {}", role) : song_.why_no_stems, song_.mix_and(both_), readable ? role : std::string_view());
    return true;
  }
  [[nodiscard]] std::vector<std::string> under_it(double wanted) const {
    std::vector<std::string> under;
    for (const auto& section : sheet_.sections) {
      if (section.kick_over_bass && *section.kick_over_bass < wanted) under.push_back(fmt::format("{} ({})", section.name, db(*section.kick_over_bass)));
    }
    return under;
  }
  /// What both do to each other at the hits, and what could be done about it.
  [[nodiscard]] std::string cancellation() const {
    if (!low_.together) return {};
    const auto& both = *low_.together;
    auto text = fmt::format("; at the hits they {} by {}", both.now_db < 0 ? "cancel" : "add up", db(std::abs(both.now_db)));
    std::vector<std::string> cures;
    if (const double gain = both.flipped_db - both.now_db; gain >= kGainsDb) cures.push_back(fmt::format("the bass turned upside down would give {} more", db(gain)));
    if (const double gain = both.shifted_db - both.now_db; gain >= kGainsDb && both.best_shift_ms != 0)
      cures.push_back(fmt::format("the bass {} ms {} {} more", base::fixed(std::abs(both.best_shift_ms), 1), both.best_shift_ms > 0 ? "later" : "earlier", db(gain)));
    if (cures.empty()) return text + fmt::format(", and neither its polarity nor 5 ms either way would give {} more", db(kGainsDb));
    return text + ", " + listed(cures);
  }
  /// The stem that loses most of what it has there: over the song, or else in the mix's worst second.
  [[nodiscard]] std::string most_lost() const {
    if (!song_.why_no_stems.empty()) return {};
    const auto losses = low_loss_of_stems(plan_, song_.stop);
    const auto second = static_cast<std::size_t>(std::max(std::ptrdiff_t{0}, std::ranges::max_element(low_.mix_mono->seconds_db) - low_.mix_mono->seconds_db.begin()));
    for (const bool whole : {true, false}) {
      std::optional<std::size_t> worst;
      double most = kUnlikeDb;
      for (std::size_t i = 0; i < losses.size(); ++i) {
        const auto& loss = losses[i];
        if (!loss || (!whole && second >= loss->seconds_db.size())) continue;
        const double lost = whole ? loss->whole_db : static_cast<double>(loss->seconds_db[second]);
        if (lost > most) worst = i, most = lost;
      }
      if (worst) return fmt::format("{} loses most, {}{}", base::for_terminal(plan_.stems[*worst].name), db(most), whole ? "" : " there");
    }
    return {};
  }

  const Measured& song_;
  const Plan& plan_;
  const LowEndReading& low_;
  const SongSheet& sheet_;
  Findings& findings_;
  std::vector<std::size_t> kick_, bass_, both_;
};

}  // namespace

void low_end_findings(const Measured& song, SongSheet& sheet, Findings& findings) {
  const LowEndReading none;
  const auto& low = song.reading ? song.reading->low_end : none;
  if (song.reading) fill(low, song.plan.low_end, sheet);
  LowEndJudge judge(song, low, sheet, findings);
  judge.over();
  judge.order();
  judge.steadiness();
  judge.mono();
}

}  // namespace sendworthy::song
