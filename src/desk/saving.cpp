#include "desk/saving.h"

#include "base/replace.h"
#include "desk/api.h"

namespace sendworthy::desk {

Answer changed_elsewhere(std::string_view what) {
  return refusal(409, "changed", "the " + std::string(what) + " was changed elsewhere since it was shown here; nothing was written");
}

std::optional<Answer> save_edited(std::string_view what, std::string_view relative, const std::string& path, std::string_view before, std::string_view after) {
  const auto replaced = base::replace_text(path, before, after);
  if (!replaced) return refusal_of(replaced.error());
  switch (*replaced) {
    case base::Replaced::yes:
      return std::nullopt;
    case base::Replaced::being_written:
      return refusal(409, "being_written", "another program has the " + std::string(what) + " open to write into it; save and close it there, then save here anew");
    case base::Replaced::write_protected:
      return refusal(403, "write_protected", "\"" + std::string(relative) + "\" is write-protected; allow it and its folder to be written to, then save it here anew; where that cannot be, copy the folder to where it can, and open the copy");
    case base::Replaced::changed:
      break;
  }
  return changed_elsewhere(what);
}

}  // namespace sendworthy::desk
