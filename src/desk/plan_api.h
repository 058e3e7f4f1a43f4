// Song plans in the opened folder: read, and edited where they lie.
#pragma once

#include <string_view>

#include "desk/answer.h"
#include "desk/folder.h"
#include "desk/target.h"

namespace sendworthy::desk {

/// {"path", "digest" of the text's bytes, "text", "roles", "heard"}, with "plan" as json_of has it, or with "fault", "fault_line"
/// and "fault_column" where the text is no plan. At most 1 MiB, of a file whose name ends in ".toml".
[[nodiscard]] Answer show_plan(const Folder& folder, const Target& target);

/// With a body as read_plan_edits has it; answers as show_plan. 409 "changed" where the file has another digest by now, and
/// "being_written" where another program has it open to write into it. The file is replaced whole, with its mode, or stays as it is. Edits from several tabs come one after the other.
[[nodiscard]] Answer edit_plan(const Folder& folder, const Target& target, std::string_view body);

}  // namespace sendworthy::desk
