// Orders in the opened folder: read, tried out, and edited where they lie.
#pragma once

#include <sendworthy/rule_set.h>

#include <string_view>

#include "desk/answer.h"
#include "desk/folder.h"
#include "desk/target.h"

namespace sendworthy::desk {

/// {"path", "digest" of the text's bytes, "text", "versions": what an item may be}, with "order", or with "fault", "fault_line" and
/// "fault_column" where the text is no order that can be checked. At most 1 MiB, of a file whose name ends in ".toml".
///
/// "order": {"title", "artist", "album", "client", "rules": [NAME], "expect": ["sample_rate=48000"], "folder", "name", "allow_extra", "previous", "items":
/// [{"name", "version", "file", "required", "rules": [NAME] and "expect" of its own, "judged_as": [NAME], "expected":
/// [TEXT] in words, by itself or the order, "role", "title", "length_s"?, "against",
/// "isrc", "edits": how many, "line"}], "album_order", "tags": {"require", "forbid", "match"}?, "waivers": how many, "sets": {NAME:
/// {"title", "asks": [TEXT]}}}: what a rule set asks of the format, in words.
[[nodiscard]] Answer show_order(const Folder& folder, const RuleSetFolders& rules, const Target& target);

/// {"text": TEXT} is told as it would be; {"text", "edits": [EDIT, …]} as it would be with them. Nothing is written. With "digest"
/// besides, the text is written into the file, whole or not at all: 409 "changed" where the file has another digest by now, 400 where
/// the text is no order. Line ends, and whatever was not touched, stay as the file has them. An EDIT is one of
///   {"set": KEY of [order], "to": TEXT | BOOL | [TEXT] | null}
///   {"item": NUMBER from 0, "set": KEY, "to": TEXT | BOOL | NUMBER | [TEXT] | null}
///   {"add_item": {"version", "file"}}, {"remove_item": NUMBER from 0}
[[nodiscard]] Answer edit_order(const Folder& folder, const RuleSetFolders& rules, const Target& target, std::string_view body);

}  // namespace sendworthy::desk
