// Files of a song that no rule set judged carry no verdict: what was not judged did not pass.
#pragma once

#include <sendworthy/sheet.h>

namespace sendworthy::sheet {

/// Whether something was said of the file by itself.
[[nodiscard]] inline bool judged_alone(const FileSheet& file) { return file.error || !file.findings.empty() || !file.skipped.empty(); }

}  // namespace sendworthy::sheet
