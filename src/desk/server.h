// The local page: a small server for one person on one machine.
#pragma once

#include <sendworthy/check.h>
#include <sendworthy/result.h>
#include <sendworthy/store.h>

#include <atomic>
#include <functional>
#include <string>

#include "desk/api.h"
#include "desk/checks.h"

namespace sendworthy::desk {

struct DeskOptions {
  std::string folder = ".";
  int port = 0;  ///< 0: one that is free
  CheckSettings checks;
  RuleChoice rules;
};

struct DeskHooks {
  std::function<bool(const std::string& address)> started;  ///< once the page can be opened; false ends it
  const std::atomic<bool>* stop = nullptr;                  ///< set it to end; must not be null
};

/// Serves until it is told to stop. Listens on 127.0.0.1 only; whoever has not the address with its random token is told nothing.
/// What was dropped on the page is deleted at the end. Errors: missing, unreadable for the folder; unreadable where the
/// port cannot be had; output where there is no room for temporary files; interrupted once it was told to stop: the usual end. No error only
/// where `started` ended it.
[[nodiscard]] Result<void> serve(const DeskOptions& options, const DeskHooks& hooks);

}  // namespace sendworthy::desk
