// Check files: the main job. Start reading here.
#pragma once

#include <atomic>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include <sendworthy/result.h>
#include <sendworthy/rule_set.h>
#include <sendworthy/sheet.h>

namespace sendworthy {

/// What a room or a pair of headphones was calibrated with. Levels are estimates for that place only.
struct Monitoring {
  enum class Kind { loudspeakers, headphones };
  Kind kind = Kind::loudspeakers;
  double spl_db = 73;            ///< sound pressure level per loudspeaker (or per ear) with the calibration noise
  std::string spl_weighting = "C";  ///< "A", "C" or "Z"
  double level = -23;            ///< digital level of that noise in one channel
  std::string level_unit = "LUFS";  ///< "LUFS" or "dBFS" (mathematical RMS)
  std::string noise = "band 500-2000";  ///< "pink", "band 500-2000" or "sine 1000"
};

struct CheckOptions {
  std::string role;
  bool file_digest = false;
  bool second_meter = false;
  bool timelines = false;
  bool pictures = false;  ///< with timelines, and more of them
  bool judge = true;
  std::string today;  ///< YYYY-MM-DD, for waivers; the library never asks the clock
  std::optional<Monitoring> monitoring;
  int jobs = 1;       ///< threads; the result does not depend on it
};

/// Called from worker threads, one call at a time. `done` of `total` in file order; fraction of the current one.
struct Progress {
  std::size_t file = 0, files = 0;
  std::string path;
  double fraction = 0;
};

class ReadingStore;

struct CheckHooks {
  std::function<void(const Progress&)> progress;
  std::function<void(const FileSheet&)> file_done;  ///< in the order the files end
  const std::atomic<bool>* stop = nullptr;          ///< set it to end early; the sheet then carries ErrorCode::interrupted
  ReadingStore* store = nullptr;                    ///< readings of unchanged files are taken from here; the sheet is the same
};

/// Reads, measures and judges every file. Never throws, never prints; one bad input does not stop the others.
[[nodiscard]] Sheet check_files(const std::vector<std::string>& paths, const std::vector<RuleSet>& rule_sets,
                                const CheckOptions& options, const CheckHooks& hooks = {});

/// A file and the part it plays, judged by some of the rule sets.
struct CheckItem {
  std::string path;
  std::string role;
  std::vector<std::size_t> rule_sets;  ///< indexes into the list of rule sets; none: measured only, and then a pass
  std::vector<std::string> only;       ///< ids wanted; none: all. What is read for a few is not kept for the next run.
};

/// The same where each file has rule sets of its own. CheckOptions::role is not looked at.
[[nodiscard]] Sheet check_items(const std::vector<CheckItem>& items, const std::vector<RuleSet>& rule_sets,
                                const CheckOptions& options, const CheckHooks& hooks = {});

enum class Folders { flat, with_subfolders };

/// What a user named, as files to check.
struct Inputs {
  std::vector<std::string> files;        ///< in the order named, each once, however its path is spelt
  std::vector<FileSheet> without_sheet;  ///< folders without audio, or that cannot be read: each with its error
};

/// Replaces a folder by the audio files in it, sorted. What does not exist stays in `files`: reading it says why.
[[nodiscard]] Inputs expand_inputs(const std::vector<std::string>& paths, Folders folders);

/// Puts inputs that gave no sheet among the files, sorted by path; the verdict becomes fail.
void add_without_sheet(Sheet& sheet, std::vector<FileSheet> without_sheet);

/// Names and versions of this library and those it is built on.
[[nodiscard]] std::string version();
[[nodiscard]] std::map<std::string, std::string> library_versions();

}  // namespace sendworthy
