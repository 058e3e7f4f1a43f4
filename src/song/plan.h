// The song plan: what a mix is meant to be, as data. A TOML file that the mixer keeps beside the song; read here, measured and
// asked elsewhere. Intent is never guessed: what a plan leaves open is not stated, and findings on it are not measured.
#pragma once

#include <sendworthy/result.h>
#include <sendworthy/rule_set.h>

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "song/findings.h"

namespace sendworthy::song {

/// What a stem plays, in the trade's words.
enum class Role {
  lead_vocal, backing_vocal, kick, snare, drums, percussion, bass, lead, guitar, keys, pad, strings, brass, effects, other
};
[[nodiscard]] std::string_view to_string(Role role);  ///< "lead vocal", …, "other"
[[nodiscard]] std::span<const Role> roles();          ///< all, in the order above

/// How a question is to be listened to.
enum class Heard { full, quiet, mono, lows, small_speaker };
[[nodiscard]] std::string_view to_string(Heard heard);  ///< "full", …, "small speaker"
[[nodiscard]] std::span<const Heard> ways_to_hear();

/// Which of the two is meant to reach lower.
enum class Lowest { not_stated, kick, bass };
[[nodiscard]] std::string_view to_string(Lowest lowest);  ///< "", "kick", "bass"

/// From low to high, both within it.
struct Range {
  double low = 0, high = 0;
  [[nodiscard]] bool operator==(const Range&) const = default;
};

struct Section {
  std::string name;
  double start_s = 0;
  std::optional<double> end_s;    ///< where the plan has none, the next section's start; of the last one nothing: the song's end
  bool own_end = false;           ///< the plan has an end for it
  bool biggest = false, quietest = false;
  std::optional<Range> vocal_lu;  ///< [vocal] sections: for this section instead of the song's
  Place place;
};

struct Stem {
  std::string name;
  std::string file;             ///< path, read from the plan's folder
  Role role = Role::other;
  std::optional<int> priority;  ///< 1 … 99; 1 is what matters most
  Place place;
};

struct Reference {
  std::string file;  ///< path, read from the plan's folder
  Place place;
};

struct Question {
  std::string id;
  std::string text;
  std::optional<std::size_t> section, stem;  ///< of the plan's
  Heard heard = Heard::full;
  Place place;
};

struct Dynamics {
  std::optional<double> quiet_to_loud_lu;  ///< at least, from the quietest section to the biggest
  double biggest_margin_lu = 0;            ///< at least, from the next section to the biggest
  std::optional<double> movement_db;       ///< at least, of each part between sections
  [[nodiscard]] bool operator==(const Dynamics&) const = default;
};

struct LowEnd {
  double below_hz = 100;                     ///< 40 … 250
  Lowest lowest = Lowest::not_stated;
  std::optional<double> kick_over_bass_db;   ///< at least
  std::optional<double> bass_steadiness_db;  ///< at most
  [[nodiscard]] bool operator==(const LowEnd&) const = default;
};

struct Quiet {
  double level_db_spl = 45;      ///< 10 … 90
  double reference_db_spl = 78;  ///< 40 … 95, above level_db_spl
  bool small_speaker = true;     ///< also through the band of a small loudspeaker
  double moved_db = 6;           ///< a part that moves more against the others has moved
  [[nodiscard]] bool operator==(const Quiet&) const = default;
};

inline constexpr std::size_t kMostSections = 200, kMostStems = 200, kMostQuestions = 500, kMostReferences = 50;

struct Plan {
  std::string path;               ///< as given
  std::string title, artist;      ///< of the song; may be empty
  std::string feeling, approach;  ///< "" where not stated; may have lines
  std::string mix;                ///< path, read from the plan's folder
  std::string previous;           ///< the bounce before, likewise; empty: none
  std::vector<Section> sections;  ///< by start
  std::vector<Stem> stems;        ///< in the plan's order
  std::optional<Range> above_band_lu;  ///< [vocal] lead vocal over everything else
  std::optional<Range> under_lead_lu;  ///< [backing] lead vocal over backing vocals
  Dynamics dynamics;
  LowEnd low_end;
  std::optional<double> most_masked_percent;  ///< [masking] most, 0 … 100
  Quiet quiet;
  std::vector<Reference> references;
  std::vector<Question> questions;  ///< in the plan's order
  Severities severities;
  std::vector<Waiver> waivers;
};

/// Paths in a plan start at its folder. At most 1 MiB, 200 sections, 200 stems, 500 questions, 50 references; names have at most
/// 200 characters and one line. Errors: rules, with file, line and column and the nearest right name.
[[nodiscard]] Result<Plan> read_plan(const std::string& path);
[[nodiscard]] Result<Plan> parse_plan(std::string_view toml, const std::string& shown_path);

/// The range in which a section's lead vocal is meant to lie over the rest, LU: its own, else the song's, else nothing.
[[nodiscard]] std::optional<Range> vocal_range(const Plan& plan, const Section& section);

/// Seconds in "83.5", "1:23.5" or "0:01:23"; nothing where the text is no such time below 24 hours.
[[nodiscard]] std::optional<double> seconds_in(std::string_view text);

}  // namespace sendworthy::song
