// Readings of a file that was measured before, and when they may be kept.
#pragma once

#include <atomic>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include <sendworthy/check.h>
#include <sendworthy/store.h>

#include "audio/digest.h"
#include "audio/file.h"

namespace sendworthy {

/// The store as one run sees it. Without a store everything here does nothing. May be used from several threads at once.
class Kept {
 public:
  /// The references must outlive this object.
  Kept(const CheckOptions& options, const CheckHooks& hooks);

  /// One file as it is found at the start of its turn.
  struct Found {
    std::optional<audio::BytesName> bytes;
    std::string surroundings;          ///< of this file alone
    std::string key;                   ///< empty: neither looked for nor kept
    std::optional<Readings> readings;  ///< of exactly these bytes under this name
  };
  /// Reads the whole file. `requests`: what is asked for of this file.
  [[nodiscard]] Found look_for(const std::string& path, const std::vector<MeasureRequest>& requests);

  /// Keeps what was measured, unless it may rest on other bytes than those that were named, or on what need not happen again:
  /// an interruption, a failed reading, an encoder that did not answer.
  void keep(const Found& found, const std::string& path, const audio::OpenedFile& file, const Readings& readings);

 private:
  [[nodiscard]] bool stopped() const { return hooks_.stop != nullptr && hooks_.stop->load(); }
  [[nodiscard]] std::string common(const std::vector<MeasureRequest>& requests);

  const CheckOptions& options_;
  const CheckHooks& hooks_;
  std::mutex mutex_;
  /// The part of the key that is the same for all files of which the same is asked; empty: it cannot be told.
  std::map<std::vector<MeasureRequest>, std::string> common_;
};

}  // namespace sendworthy
