// The song's plan, and an earlier bounce of the song that does not keep it: one small problem for each thing that a plan can ask.
#pragma once

#include <string>
#include <string_view>

#include "wav.h"

namespace demo {

/// Writes `folder`/song.toml, the plan of mix.wav and stems/ in this folder.
void write_plan(const std::string& folder);

/// The earlier bounce, put together stem by stem.
class Draft {
 public:
  explicit Draft(std::string folder);
  /// Takes a stem of the good mix, spoils it, adds it to the draft's mix and writes it into `folder`/stems.
  void add(std::string_view name, Audio stem);
  /// Writes `folder`/mix-3.wav, `folder`/song.toml and `folder`/faults.txt, which says what is wrong.
  void finish();

 private:
  std::string folder_;
  Audio mix_;
};

}  // namespace demo
