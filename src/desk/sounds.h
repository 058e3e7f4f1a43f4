// The sounds that are, or were lately, listened to: as many as the disk may hold.
#pragma once

#include <cstdint>
#include <list>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>

#include "base/scratch_folder.h"
#include "desk/answer.h"
#include "desk/sound.h"

namespace sendworthy::desk {

struct SoundLimits {
  std::int64_t total_bytes = std::int64_t{16} << 30;  ///< 12 hours of stereo at 48 kHz
  std::int64_t free_bytes = std::int64_t{1} << 30;    ///< must stay on the disk
  std::size_t kept = 64;
  std::size_t at_once = 4;  ///< that are being decoded
};

/// Safe to use from several threads.
class Sounds {
 public:
  /// `scratch` must outlive this object.
  Sounds(const base::ScratchFolder& scratch, SoundLimits limits) : scratch_(scratch), limits_(limits) {}
  Sounds(const Sounds&) = delete;
  Sounds& operator=(const Sounds&) = delete;
  ~Sounds() { end(); }

  /// The sound of a file; begins to decode it where nobody asked for it before. `mark`: which state of it is meant; empty: the
  /// present one. Refused: 404 where it is gone, 409 where it is another one by now, 503 where too many are asked for at once.
  /// Where too many are being decoded, one that nobody waits for gives way.
  [[nodiscard]] tl::expected<std::shared_ptr<Sound>, Answer> get(const std::string& path, std::string_view mark);
  /// Sound::mark_of() a file.
  [[nodiscard]] std::optional<std::string> mark_of(const std::string& path) const { return Sound::mark_of(path, scratch_.path()); }
  /// Where it is there already; else null. Begins nothing.
  [[nodiscard]] std::shared_ptr<Sound> find(const std::string& path);
  /// Stops everything and waits for its end; nothing is begun afterwards.
  void end();

 private:
  using Place = std::list<std::shared_ptr<Sound>>::iterator;
  [[nodiscard]] Sound::Room make_room(std::int64_t bytes);
  [[nodiscard]] std::shared_ptr<Sound> look_up(std::string_view mark);
  template <class Fits>
  [[nodiscard]] std::shared_ptr<Sound> take_idle(Fits fits);

  const base::ScratchFolder& scratch_;
  const SoundLimits limits_;
  std::mutex mutex_;
  std::list<std::shared_ptr<Sound>> all_;  ///< what was asked for last comes first
  std::uint64_t last_ = 0;
  bool ending_ = false;
};

}  // namespace sendworthy::desk
