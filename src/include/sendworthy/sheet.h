// The sheet: everything that was read, measured and judged, as one immutable value.
// JSON is this value written down; every other format is a view of it and adds no judgement.
#pragma once

#include <sendworthy/catalog.h>
#include <sendworthy/result.h>

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace sendworthy {

using Value = std::variant<bool, double, std::string>;  ///< a list is one string, its items joined by ", "

/// The measurement should exist and could not be made. A rule on it counts as failed unless it is optional.
struct NotMeasured {
  std::string reason;
};
/// The question makes no sense for this file (stereo ids on mono). A rule on it is skipped, with the reason.
struct NotApplicable {
  std::string reason;
};
using Outcome = std::variant<Value, NotMeasured, NotApplicable>;

/// The number in an outcome, or nothing.
[[nodiscard]] std::optional<double> number(const Outcome& outcome);

/// A place in a file. Times and frames count from the first frame; `end` is exclusive. A frame is one sample per
/// channel.
struct Where {
  double start_s = 0;
  double end_s = 0;
  std::int64_t start_frame = 0;
  std::int64_t end_frame = 0;
  int channel = 0;  ///< from 1; 0 = all or not said
  std::string file;
  std::string note;
};

/// One measurement of one file.
struct Measurement {
  std::string id;   ///< catalog id
  std::string key;  ///< id, or `id(below_hz=150)` where a rule asked for another parameter than the fallback
  Outcome outcome = NotMeasured{"not measured"};
  std::string note;
  std::vector<std::optional<double>> channels;  ///< each channel's own number, where channels differ
  std::vector<Where> where;                     ///< events, at most kMaxWhere
  std::int64_t where_total = 0;                 ///< how many events there were in all
};
inline constexpr std::size_t kMaxWhere = 20;

enum class Status { pass, note, warn, fail, not_measured, waived };
[[nodiscard]] std::string_view to_string(Status status);  ///< "pass", …, "not measured", "waived"

enum class Verdict { pass, warn, fail };
[[nodiscard]] std::string_view to_string(Verdict verdict);

/// Which comparison of a rule decided (or, for a pass, would decide first).
enum class LimitKind { none, above, below, unless, multiple_of, matches, forbid, require };
[[nodiscard]] std::string_view to_string(LimitKind kind);

struct AppliedWaiver {
  std::string reason;
  std::string by;
  std::string until;  ///< YYYY-MM-DD
};

/// A number that a rule holds against its measurement.
struct Bound {
  Status status = Status::fail;       ///< what lies beyond it is: fail, warn or note
  LimitKind kind = LimitKind::above;  ///< above, below or unless
  double at = 0;
};

/// One rule applied to one file (or to the whole set). Plain data: the words are made by the renderers' shared phrases.
struct Finding {
  std::string ruleset;
  std::string rule;
  std::string title;       ///< what it is about, of findings that stand on no measurement; empty: the rule's id
  std::string measure;     ///< catalog id; empty for findings about waivers, inputs or the set
  std::string key;         ///< Measurement::key
  std::string compare_to;  ///< catalog id the value is the difference from, or empty
  Status status = Status::not_measured;
  Status before_waiver = Status::not_measured;  ///< equals status unless waived
  Outcome outcome = NotMeasured{"not measured"};
  Unit unit = Unit::text;
  LimitKind limit_kind = LimitKind::none;
  std::optional<Value> limit;
  std::vector<Bound> bounds;      ///< all of the rule, for pictures; a written sheet has only the limit that decided
  std::string limit_text;         ///< "at most -1.0 dBTP", "one of 44100, 48000 Hz"
  bool within_tolerance = false;  ///< beyond the limit, yet within the measurement tolerance
  std::optional<double> tolerance;
  std::optional<double> change_db;           ///< how far to move a level; negative: down
  std::optional<double> true_peak_after_db;  ///< what the true peak becomes then, dBTP
  std::string note;                          ///< the measurement's note
  std::vector<Where> where;
  std::int64_t where_total = 0;
  std::string why;
  std::string remedy;  ///< in words, with the amount where change_db is known
  std::string source;
  bool optional = false;
  std::optional<AppliedWaiver> waiver;
  std::vector<std::string> files;  ///< for findings of the whole set
  bool every_place = false;        ///< of these: `where` names every place of the fault, not the worst alone
  bool each_file = false;          ///< of these: each of `files` is at fault by itself, but for the last, which they are held against
};

struct Skipped {
  std::string ruleset;
  std::string rule;
  std::string reason;
};

struct Caution {
  std::string text;
  std::string source;
};

struct Tag {
  std::string name;  ///< "title", "artist", "album", "track", "isrc", "date", …
  std::string value;
  std::string origin;  ///< "bext", "INFO", "ID3v2", "Vorbis comment", "iXML", …
};

/// What the container says, for people and for the hand-off note.
struct Facts {
  std::string container;  ///< "WAV", "RF64", "FLAC", …
  std::string encoding;   ///< "PCM 24-bit", "float 32-bit", "Vorbis", …
  int sample_rate = 0;    ///< Hz
  std::optional<int> bit_depth;
  int channels = 0;
  std::string channel_layout;  ///< "mono", "stereo", "5.1", "7.1", "4 channels, layout unknown"
  std::int64_t frames = 0;     ///< as decoded; 0 where there is no decoder for it here
  double duration_s = 0;       ///< of those frames; without a decoder what the header says
  std::int64_t file_size = 0;  ///< bytes
  std::vector<Tag> tags;
};

/// A series at a bounded rate. Not a number (NaN) where nothing could be read.
struct Timeline {
  /// "momentary", "short_term", "peak", "correlation", "envelope"; for pictures also "highest" and "lowest" (samples,
  /// full scale 1, per channel), "true_peak", "low_mono_loss"
  std::string id;
  std::string unit;
  int channel = 0;  ///< from 1; 0 = the whole file
  double start_s = 0;
  double step_s = 0;
  int decimals = 1;
  std::vector<float> values;
};

/// What pictures show beside series over time. Made where a picture was asked for.
struct Pictures {
  /// Long-term third-octave spectrum: mean square of each band over all channels and the whole file, dBFS.
  struct Spectrum {
    std::vector<double> centre_hz;  ///< from 25 Hz, as far as the sample rate reaches
    std::vector<float> level_db;    ///< at least −144
    std::optional<double> bandwidth_hz;  ///< where the spectrum falls off to a floor far below; none: no such edge
  } spectrum;
  /// How long the peak of 10 ms stands at each level: shares of all windows, bins of 1 dB from low_db up. The last bin
  /// holds everything above 0 dBFS, the first everything below −60.
  struct Levels {
    double low_db = 0;
    std::vector<float> share;
  } levels;
  /// Stereo: how often left and right meet at a place. Rows: mid from −reach (first) to +reach; columns: side, from
  /// more right (first) to more left; shares of all frames. Empty for other layouts.
  struct Density {
    int cells = 0;     ///< a side
    double reach = 0;  ///< of mid and side, full scale 1; what lies beyond 1 stands at the rim
    std::vector<float> share;
    double more_mid = 0, more_side = 0;  ///< shares of frames in which one is larger than the other
  } density;
};

struct FileSheet {
  std::string path;  ///< as the user gave it; any bytes
  std::string role;
  Verdict verdict = Verdict::fail;
  std::string audio_digest;  ///< "xxh128:…"; empty when nothing was decoded
  std::string file_digest;   ///< "sha256:…"; empty unless asked for
  Facts facts;
  std::vector<Measurement> measurements;  ///< sorted by key
  std::vector<Finding> findings;
  std::vector<Skipped> skipped;
  std::vector<Timeline> timelines;
  std::optional<Pictures> pictures;
  std::vector<Caution> cautions;
  std::optional<Error> error;  ///< set: no sheet could be made for this input
};

/// A measurement of two files that reads differently in them.
struct Change {
  std::string id;   ///< catalog id
  std::string key;  ///< Measurement::key
  Measurement before, after;
};

/// A finding that one file has and the other has not, or has in another status.
struct Turn {
  std::string ruleset, rule, measure;
  Status before = Status::pass, after = Status::pass;
};

/// How the sound of an old file stands in a new one. Times are seconds of the old file unless said.
struct Pair {
  /// Each allows for less than the one before it. `same_mix`: the same but for where, how fast, which way round it stands.
  enum class Kind { identical_bits, identical_audio, dither_only, gain_only, same_mix, edited, different_mix };

  struct Edit {
    double old_start_s = 0, old_end_s = 0;  ///< equal: nothing was there, something was put in
    double new_start_s = 0, new_end_s = 0;  ///< of the new file; equal: taken out
    std::optional<double> level_db;         ///< where a level of its own is all that differs
  };
  struct Octave {
    double centre_hz = 0;
    double null_db = 0;    ///< what is left there over the old file's; at least −144
    double change_db = 0;  ///< level of the new file over the old one's, beside the common gain
  };

  std::string old_path, new_path;
  int old_rate = 0, new_rate = 0;  ///< Hz
  int folded_to = 0;               ///< channels to which both were folded down, since they have unlike numbers; 0: none
  Kind kind = Kind::different_mix;
  bool aligned = false;  ///< false: nothing in common was found, and what follows says nothing
  double offset_s = 0;
  double offset_frames = 0;  ///< the same in frames of the new file; positive: the new one is later
  double ends_later_s = 0;   ///< how long the new file goes on after the old one's end
  double gain_db = 0;        ///< of the new file over the old one
  std::vector<std::optional<double>> channel_gains_db;  ///< −144: silent in the new file; nothing: silent in the old one
  std::vector<bool> inverted;  ///< by channel of the new file
  bool swapped = false;        ///< left and right changed about
  double speed = 1;            ///< seconds of the new file that one second of the old one takes
  std::string clock;           ///< what may explain the speed: "44.1 kHz material played at 48 kHz"
  double null_db = 0;          ///< what is left once the old one is taken out of the new one, over the old one; at least −144
  double null_outside_db = 0;  ///< the same outside of the edits
  double left_dbfs = 0;        ///< level of what is left outside of the edits
  double null_step_s = 0;
  std::vector<float> null_over_time;  ///< dB; not a number where the old file is silent or nothing was paired
  std::vector<Octave> octaves;        ///< outside of the edits
  std::vector<Edit> edits;
  std::int64_t edits_total = 0;
  bool loose = false;  ///< so little is shared that gain, polarity and fractions of a frame say nothing
  std::string remark;  ///< what else must be known
  std::vector<Change> changes;  ///< sorted by key
  std::size_t unchanged = 0;    ///< measurements that read the same
  std::vector<Turn> turns;      ///< findings that appeared, went, or changed
};
[[nodiscard]] std::string_view to_string(Pair::Kind kind);  ///< "identical bits", …, "different mix"

struct RulesUsed {
  std::string name;
  std::string title;
  std::string purpose;
  std::string digest;  ///< "xxh128:…" of the effective set
  std::string origin;  ///< "shipped", "user", or the path given; with a remark where a user's set hides a shipped one
};

/// What was ordered, and which files are there for it.
struct OrderedSet {
  struct Item {
    std::string name;     ///< "instrumental", "stem drums"
    std::string version;  ///< "main", "instrumental", …
    std::string role;
    bool required = true;
    std::vector<std::string> rule_sets;
    std::string wanted;              ///< path or pattern as ordered, with the order's folder
    std::vector<std::string> files;  ///< as shown; none: missing
  };
  std::string path;  ///< of the order
  std::string title, artist, album, client;
  std::vector<Item> items;  ///< in the order's order
};

struct SongSheet;  // sendworthy/song.h

struct Sheet {
  int schema = 1;
  std::string tool_version;
  std::map<std::string, std::string> libraries;  ///< name → version
  std::vector<RulesUsed> rules;
  bool judged = true;  ///< false for `measure`: there is no verdict to show
  Verdict verdict = Verdict::fail;
  std::vector<FileSheet> files;   ///< sorted by path
  std::vector<Finding> findings;  ///< of the whole set
  std::vector<Pair> pairs;        ///< of `compare`, and of versions that were held against each other
  std::optional<OrderedSet> order;  ///< of `deliver check`
  std::shared_ptr<const SongSheet> song;  ///< of `plan check`
};

/// The worst of a file's findings: fail and not measured (unless optional) → fail, warn → warn, else pass.
[[nodiscard]] Verdict verdict_of(const std::vector<Finding>& findings);

}  // namespace sendworthy
