// What a long command shows and listens to while it works.
#pragma once

#include <sendworthy/check.h>

#include "cli/console.h"
#include "cli/signals.h"

namespace sendworthy::cli {

/// Calls `work` with hooks that show progress, where `shown`, and listen to Ctrl-C. `store` may be null.
template <class Work>
auto with_hooks(bool shown, ReadingStore* store, const Work& work) {
  ProgressLine line(shown);
  CheckHooks hooks;
  hooks.progress = [&line](const Progress& progress) { line.show(progress); };
  hooks.stop = &stop_flag();
  hooks.store = store;
  return work(hooks);
}

}  // namespace sendworthy::cli
