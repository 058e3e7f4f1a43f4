// A set of files against an order: what was asked for, what is there, and whether the two fit.
#pragma once

#include <sendworthy/check.h>

#include <string>
#include <vector>

namespace sendworthy {

struct OrderOptions {
  CheckOptions check;           ///< role is not looked at
  RuleSetFolders folders;       ///< where rule sets are looked for by name
};

/// Judges each file of the order's folder by its item's rule sets, and the set by the order: Sheet::findings, ruleset "order".
/// Sound is held against sound where that is asked for. Never prints. Errors: rules, for an order or a rule set that is wrong,
/// with file, line and column; what cannot be read in the set is on the sheet.
[[nodiscard]] Result<Sheet> check_order(const std::string& order_path, const OrderOptions& options, const CheckHooks& hooks = {});

/// A commented order for the audio files of a folder, versions guessed from their names. `order_path`: where it will lie, so
/// that its paths fit. Errors: missing, unreadable; no_audio.
[[nodiscard]] Result<std::string> new_order(const std::string& folder, const std::string& order_path);

}  // namespace sendworthy
