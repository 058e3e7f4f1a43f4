// Everything that is measured of a song and its plan, before anything is added to the verdict.
#pragma once

#include <sendworthy/song.h>

#include <memory>

#include "song/plan.h"
#include "song/song_findings.h"

namespace sendworthy::song {

struct Survey {
  Sheet sheet;                       ///< of the files
  std::shared_ptr<SongSheet> song;   ///< absent where the run was stopped
  Findings findings;                 ///< about the song, in the order of the checklist
};

/// Reads mix and stems as files, then together. Never fails: what could not be read is on the sheet.
[[nodiscard]] Survey survey_song(const Plan& plan, const PlanOptions& options, const CheckHooks& hooks);

}  // namespace sendworthy::song
