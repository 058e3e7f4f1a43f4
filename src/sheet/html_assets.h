// The page's style and script, and their digests for its content security policy.
#pragma once

#include <string_view>

namespace sendworthy::sheet {

extern const std::string_view kPageStyle;
extern const std::string_view kPageScript;
/// "sha256-…" of each, as it stands between its tags; a test takes the digests anew.
extern const std::string_view kPageStyleDigest;
extern const std::string_view kPageScriptDigest;

}  // namespace sendworthy::sheet
