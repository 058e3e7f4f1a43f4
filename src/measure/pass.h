// One decode of one file, all meters. Does not know rules.
#pragma once

#include <atomic>
#include <functional>
#include <string>
#include <vector>

#include <sendworthy/rule_set.h>
#include <sendworthy/sheet.h>

#include "audio/file.h"
#include "measure/crew.h"

namespace sendworthy::measure {

struct PassOptions {
  std::vector<MeasureRequest> requests;  ///< measurements wanted with other parameters than the fallback, or on request
  bool timelines = false;
  bool pictures = false;  ///< only together with timelines
  bool second_meter = false;
  /// Ids wanted; empty: all. Only the meters that make them run, so whatever builds on another meter is not to be read.
  /// For signals made to test one reading.
  std::vector<std::string> only;
  std::function<void(double fraction)> progress;  ///< may be empty; called at most every few blocks
  const std::atomic<bool>* stop = nullptr;
};

struct PassResult {
  std::vector<Measurement> measurements;  ///< every available catalog id that is not on request only, and every request; sorted by key
  std::vector<Timeline> timelines;
  std::optional<Pictures> pictures;
  std::string audio_digest;               ///< "xxh128:…"
  std::int64_t frames = 0;
  bool interrupted = false;
};

/// Decodes `file.source` to its end. Of a file that cannot be decoded here (facts.not_decoded) header, names and tags are
/// measured, everything else is "not measured", frames are 0 and there is no digest. The result does not depend on the crew's size. Errors: no_audio (no frame decoded).
/// Throws only what running out of memory throws; check/ turns that into an error of the file.
[[nodiscard]] Result<PassResult> run_pass(audio::OpenedFile& file, const PassOptions& options, Crew& crew);

}  // namespace sendworthy::measure
