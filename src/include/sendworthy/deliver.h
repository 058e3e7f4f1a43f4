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
/// that its paths fit; empty: in the working folder, and the folder stands in it as given. Errors: missing, unreadable; no_audio.
[[nodiscard]] Result<std::string> new_order(const std::string& folder, const std::string& order_path);

struct HandOffOptions {
  OrderOptions order;
  std::string by;      ///< who hands over; empty: not said
  std::string anyway;  ///< why a set that fails goes out all the same; empty: it does not
};

/// What came of handing over.
struct HandOff {
  Sheet sheet;                       ///< of the check
  std::vector<std::string> written;  ///< paths; none: the set fails, no reason was given, and nothing was written
};

/// Checks the set and writes manifest.json, SHA256SUMS, MD5SUMS, hand-off.md and hand-off.html into the order's folder: all, or
/// none. What stands there already is replaced only if an earlier run wrote it and nobody has changed it since. The day in it is
/// CheckOptions::today. Errors: those of check_order; usage, for a file that is not ours; unreadable, for a file that cannot be
/// read or changed during the run; output; interrupted.
[[nodiscard]] Result<HandOff> hand_off(const std::string& order_path, const HandOffOptions& options, const CheckHooks& hooks = {});

/// Holds every byte of a folder against its manifest.json: a sheet without files, whose findings (rule "manifest-intact") name what
/// is missing, was changed or was added. Links are named and not followed. `jobs`: threads; the result does not depend on it.
/// Errors: missing, unreadable; rules, for a manifest that is none; interrupted.
[[nodiscard]] Result<Sheet> receive(const std::string& folder, int jobs, const CheckHooks& hooks = {});

}  // namespace sendworthy
