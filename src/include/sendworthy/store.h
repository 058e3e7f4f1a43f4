// Readings kept between runs, so that an unchanged file is read and not measured again.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <sendworthy/sheet.h>

namespace sendworthy {

/// What measuring made of one file. Nothing in it depends on rules, waivers, dates, roles or monitoring: all of that is judged anew
/// in each run.
struct Readings {
  Facts facts;
  std::string audio_digest;
  std::vector<Measurement> measurements;
  std::vector<Timeline> timelines;
  std::optional<Pictures> pictures;
};

/// Where check_files looks before it measures a file and leaves what it measured. Called from several threads at once.
class ReadingStore {
 public:
  virtual ~ReadingStore() = default;
  /// What was kept under this key, to the bit; else nothing. A key is 64 hexadecimal digits.
  [[nodiscard]] virtual std::optional<Readings> find(const std::string& key) = 0;
  /// May keep it or not. Never fails.
  virtual void keep(const std::string& key, const Readings& readings) = 0;
};

/// Keeps readings as files in a folder of at most `bytes`; what was used longest ago gives way. Several programs may use one
/// folder at the same time. Makes the folder (an absolute path) for this user alone. Null where it cannot be made, or where it
/// belongs to somebody else or may be written to by others: readings that anybody may forge are worth nothing.
[[nodiscard]] std::unique_ptr<ReadingStore> open_reading_store(const std::string& folder, std::uint64_t bytes);

}  // namespace sendworthy
