// What was read of a song against its plan, question by question. Each function fills its part of the song's sheet and adds its findings.
#pragma once

#include <sendworthy/sheet.h>
#include <sendworthy/song.h>

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "pair/sum.h"
#include "song/findings.h"
#include "song/plan.h"
#include "song/read_song.h"

namespace sendworthy::song {

/// All that findings stand on. Where `reading` is absent, `why_not` says why nothing was measured.
struct Measured {
  const Plan& plan;
  std::optional<SongReading> reading;
  std::string why_not;
  std::string why_no_stems;            ///< why nothing was measured of the stems; empty: it was
  std::optional<pair::Sum> sum;        ///< of the stems; absent without stems or where they could not be read
  const FileSheet* mix = nullptr;      ///< none: it is not on the sheet
  std::vector<const FileSheet*> stems; ///< in the plan's order; none where a stem is not on the sheet
  const std::atomic<bool>* stop = nullptr;

  /// The stems add up to the mix as they are, so that they are all of it, whether or not one of them is silent.
  [[nodiscard]] bool stems_are_the_mix() const {
    return sum && !sum->not_measured && sum->cause == pair::SumCause::sums && std::ranges::all_of(sum->also, [](auto also) { return also == pair::SumCause::silent; });
  }
  [[nodiscard]] std::vector<std::string> mix_and(const std::vector<std::size_t>& stems) const;  ///< paths, the stems first
  [[nodiscard]] std::vector<std::size_t> with_role(Role role) const;
};

using Findings = std::vector<Finding>;

/// Fills names and times of sections and stems.
void describe(const Measured& song, SongSheet& sheet);

void intent_finding(const Measured& song, Findings& findings);
void size_findings(const Measured& song, SongSheet& sheet, Findings& findings);        ///< biggest-section, quiet-to-loud
void percussion_finding(const Measured& song, SongSheet& sheet, Findings& findings);
void movement_finding(const Measured& song, SongSheet& sheet, Findings& findings);
void vocal_findings(const Measured& song, SongSheet& sheet, Findings& findings);       ///< vocal-placement, backing-placement
void condition_finding(const Measured& song, Findings& findings);
void masking_findings(const Measured& song, SongSheet& sheet, Findings& findings);     ///< priority-masking, backing-masked
void quiet_finding(const Measured& song, SongSheet& sheet, Findings& findings);
void low_end_findings(const Measured& song, SongSheet& sheet, Findings& findings);     ///< kick-over-bass, low-end-order, bass-steadiness, mono-low-end
void stem_findings(const Measured& song, SongSheet& sheet, Findings& findings);                          ///< stems-sum-to-mix, stems-aligned

/// Cut-off peaks of a file, as the project measures them: at full scale, and below it, as of what was clipped before a fader. Fewer than
/// ten of the latter may be chance, as the rule sets have it.
struct Clipping {
  double at_full_scale = 0, flat_tops = 0;
  std::vector<Where> where;
  [[nodiscard]] bool is_heard() const { return at_full_scale > 0 || flat_tops >= 10; }
  [[nodiscard]] std::string words() const;  ///< "clipped in 3 places at full scale, 538 below it"
};
/// Nothing where that was not measured.
[[nodiscard]] std::optional<Clipping> clipping_of(const FileSheet* file);

/// A place in a file, seconds; frames at this rate.
[[nodiscard]] Where place(double start_s, double end_s, double rate, std::string file, std::string note);
/// Up to kMaxWhere of them; all are counted.
void put_places(Finding& finding, std::vector<Where> places);
/// What a fader is to do at one place of the song.
struct Move {
  std::string where;  ///< the section; empty: all over the song
  double change_db = 0;
};
/// Puts what is to move, where and by how much, before the remedy, up to 0.1 dB; the finding's change_db is set where one amount
/// holds everywhere. No moves: nothing.
void put_moves(Finding& finding, std::string_view what, const std::vector<Move>& moves);
/// "a, b, c and 4 more"; names are made safe to show.
[[nodiscard]] std::string listed(const std::vector<std::string>& texts, std::size_t most = 6);
[[nodiscard]] std::string lu(double value);
[[nodiscard]] std::string db(double value);

}  // namespace sendworthy::song
