// A song against its plan: sections, stems, vocal, priorities, low end, very quiet listening, and what somebody heard.
#pragma once

#include <sendworthy/check.h>

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace sendworthy {

/// What was measured of a song, beside the findings: Sheet::song. Times are seconds of the mix. What was not measured is absent.
struct SongSheet {
  /// What the plan wants, from low to high, both within it.
  struct Wanted {
    double low = 0, high = 0;
  };
  struct Section {
    std::string name;
    double start_s = 0, end_s = 0;
    bool biggest = false, quietest = false;        ///< as the plan marks them
    std::optional<double> loudness;                ///< integrated, LUFS
    std::size_t rank = 0;                          ///< 1: the loudest; 0: no loudness
    std::optional<double> max_short_term_loudness; ///< LUFS
    std::optional<double> peak_to_loudness_ratio;  ///< true peak less loudness, dB
    std::optional<double> low_share;               ///< power below 120 Hz over all of it, dB
    std::optional<double> side_to_mid;             ///< dB; nothing in mono
    std::optional<double> density;                 ///< onsets a second
    std::optional<double> vocal_over_bed;          ///< LU
    std::optional<double> lead_over_backing;       ///< LU
    std::optional<double> drums_over_rest;         ///< LU
    std::optional<double> kick_over_bass;          ///< median over the hits here, dB; of four at least
    std::optional<Wanted> wanted_vocal_over_bed, wanted_lead_over_backing;  ///< LU
  };
  struct Stem {
    std::string name, path, role;
    std::optional<int> priority;
    std::optional<double> loudness;                ///< integrated, LUFS
    double active_s = 0;                           ///< how long it plays
    std::optional<double> noise;                   ///< of its softest half second a second and more from all that sounds, LUFS
    std::vector<std::optional<double>> by_section; ///< loudness while it plays, LUFS, by section
    std::optional<double> movement;                ///< highest less lowest of these, dB
    std::optional<double> reference_level;         ///< of leads, kick and snare: dB SPL at the reference level, weighted by its equal-loudness contour; an estimate, no phon
    std::optional<double> quiet_level;             ///< the same at the quiet level; absent: it disappears
    std::optional<double> moved;                   ///< against the median of the others, dB; quiet less reference
    std::optional<double> moved_small_speaker;     ///< the same through the band of a small loudspeaker
    bool disappears = false;
  };
  /// Times and bands in which a part is covered most.
  struct Passage {
    double start_s = 0, end_s = 0;
    double low_hz = 0, high_hz = 0;
    double masked = 0;  ///< share of the part's time and bands there, %
  };
  /// A part that matters more, under one that matters less.
  struct Pair {
    std::string part, masker;  ///< names of stems
    double masked = 0;         ///< %, by this masker alone
    double freed = 0;          ///< % that all maskers together cover less without it
    std::vector<std::pair<double, double>> bands;  ///< centre in Hz, masked %
    std::vector<Passage> passages;
  };
  /// A hit of the kick.
  struct Hit {
    double at_s = 0;
    double kick_db = 0;            ///< highest level below below_hz, dBFS
    std::optional<double> bass_db; ///< of the bass in the same 80 ms; absent: it rests
  };
  struct LowEnd {
    double below_hz = 100;
    std::optional<double> wanted_kick_over_bass;  ///< at least, dB
    std::vector<Hit> hits;
    std::optional<double> kick_over_bass, kick_over_bass_p10;  ///< dB, median and 10th percentile
    std::optional<double> share_below_zero;                    ///< of the hits, %
    std::optional<double> kick_centre_hz, bass_centre_hz;
    std::optional<double> bass_steadiness;                     ///< dB
    std::optional<double> cancellation;                        ///< level of both together over the sum of their powers at the hits, median, dB
    std::optional<double> flipped_gain;                        ///< what turning the bass's polarity would add, dB
    std::optional<double> best_shift_ms, best_shift_gain;      ///< within 5 ms either way; positive: the bass later
    std::optional<double> mono_loss, mono_loss_worst;          ///< of the mix, dB
    std::optional<double> mono_loss_worst_at_s;
    std::optional<double> punch;                               ///< without stems: how far the mix's low band rises at its onsets, dB
  };
  /// The lead vocal over the bed while it sings, in steps; not a number where it does not.
  struct Vocal {
    double step_s = 0;
    std::vector<float> over_bed;  ///< LU
    std::string bed;              ///< "sum of the other stems" or "mix less the vocal"
    std::optional<Wanted> wanted; ///< over the whole song; sections may have their own
  };
  /// A file of one's own beside the mix; never a verdict.
  struct Reference {
    std::string path;
    std::optional<double> loudness, peak_to_loudness_ratio, low_share, side_to_mid;
    std::string trouble;  ///< why it could not be read
  };

  std::string path;  ///< of the plan
  std::string title, artist, feeling, approach;
  std::string mix;
  std::vector<Section> sections;  ///< by start
  std::vector<Stem> stems;        ///< in the plan's order
  std::vector<Pair> pairs;        ///< by share, the worst first
  std::optional<double> backing_masked;  ///< of the backing vocals, by all parts together that are no vocals, %
  std::optional<LowEnd> low_end;
  std::optional<Vocal> vocal;
  std::optional<double> drums_over_rest;  ///< over the whole song, LU
  std::optional<double> noise_of_stems;   ///< `noise` of all stems that have any, added up, LUFS
  double quiet_db_spl = 0, reference_db_spl = 0;
  std::vector<Reference> references;
};

struct PlanOptions {
  CheckOptions check;              ///< role is not looked at
  std::vector<RuleSet> rule_sets;  ///< by which the mix itself is judged as well; none: it is measured only
};

/// Measures mix and stems and holds them against the plan: Sheet::findings, ruleset "plan", and Sheet::song. Never prints. Errors:
/// rules, for a plan that is wrong, with file, line and column; what cannot be read of mix and stems is on the sheet.
[[nodiscard]] Result<Sheet> check_plan(const std::string& plan_path, const PlanOptions& options, const CheckHooks& hooks = {});

struct NewPlanOptions {
  std::string stems;      ///< folder; empty: no stems
  std::string plan_path;  ///< where the plan will lie, so that its paths fit; empty: the working folder
  int jobs = 1;
};
/// A commented plan with the mix's sections, its stems' roles guessed from their names, and the standard questions; intent stays
/// empty, with what was measured as a comment. Errors: missing, unreadable, no_audio; interrupted.
[[nodiscard]] Result<std::string> new_plan(const std::string& mix, const NewPlanOptions& options, const CheckHooks& hooks = {});

}  // namespace sendworthy
