// A plan or an order that was edited on the page, put in the place of what the page was shown.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "desk/answer.h"

namespace sendworthy::desk {

/// That the file is another one by now. `what`: "plan" or "order".
[[nodiscard]] Answer changed_elsewhere(std::string_view what);

/// Writes `after` where `path` still holds `before` (base::replace_text); nothing, or what is answered where it was not written.
/// `relative`: the path as the page knows it.
[[nodiscard]] std::optional<Answer> save_edited(std::string_view what, std::string_view relative, const std::string& path, std::string_view before, std::string_view after);

}  // namespace sendworthy::desk
