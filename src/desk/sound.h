// One sound file made ready to be heard: decoded once, in the background, into a folder of its own.
#pragma once

#include <atomic>
#include <condition_variable>
#include <cstdint>
#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <thread>

#include "audio/file.h"
#include "desk/answer.h"
#include "desk/outline.h"
#include "desk/weighing.h"

namespace sendworthy::desk {

/// Safe to use from several threads. What cannot be had comes back as the answer that says so: 404, 403 and 415 for a file that is gone, or
/// cannot be read or decoded, 409 for one that changed meanwhile, 507 where there is no room, 503 for what takes too long, or once it
/// was stopped.
class Sound {
 public:
  /// Asked from the thread that decodes, before more bytes are written: whether there is room for them.
  enum class Room { there, limit, disk };  ///< reached are: nothing, what all sounds together may have, the end of the disk
  using AskForRoom = std::function<Room(std::int64_t bytes)>;

  /// `path`: the file; `mark`: mark_of() it; `folder`: in the scratch folder, not there yet, and gone with this object.
  Sound(std::string path, std::string mark, std::string folder, AskForRoom room);
  Sound(const Sound&) = delete;
  Sound& operator=(const Sound&) = delete;
  ~Sound();

  /// A text that changes when the file does, also where its time is put back afterwards; nothing where it is gone. It says nothing of
  /// its name. `scratch`: the program's own folder, whose files nobody else writes into.
  [[nodiscard]] static std::optional<std::string> mark_of(const std::string& path, const std::string& scratch);
  [[nodiscard]] const std::string& mark() const { return mark_; }

  struct Head {
    audio::StreamFormat format;
    std::int64_t frames = 0;
    bool whole = false;               ///< the decode has ended; what follows is known from then on
    std::optional<double> loudness_lufs;
  };
  /// Waits for the head of the file; for the end of the decode where the head does not tell reliably how many frames there are, or
  /// where it is `wanted_whole`.
  [[nodiscard]] tl::expected<Head, Answer> head(bool wanted_whole) const;

  /// Waits until so many frames are decoded, or all there are.
  [[nodiscard]] tl::expected<void, Answer> reach(std::int64_t frames) const;
  /// The interleaved 32-bit floats of what is decoded lie here. Samples that are no numbers are 0; nothing is clipped.
  [[nodiscard]] std::string samples_path() const { return folder_ + "/samples"; }
  /// Waits as reach(). Precondition: 0 ≤ from < to ≤ frames, 1 ≤ columns ≤ to − from.
  [[nodiscard]] tl::expected<Outline, Answer> outline(std::int64_t from, std::int64_t to, int columns) const;

  /// Mean power, A-weighted, channels added, over a stretch of the file in seconds; nothing where it is not known (yet).
  [[nodiscard]] std::optional<double> a_power(double from_s, double to_s) const;
  /// Its format once the head is read. Does not wait.
  [[nodiscard]] std::optional<audio::StreamFormat> format() const;

  [[nodiscard]] bool ended() const;
  /// Whether it came to nothing.
  [[nodiscard]] bool failed() const;
  /// Bytes of the disk that it has, or is about to have.
  [[nodiscard]] std::int64_t bytes() const { return bytes_; }
  /// Those of them that are still to be written.
  [[nodiscard]] std::int64_t unwritten() const { return unwritten_; }
  /// Ends the decode and every wait at once; what is decoded may still be read.
  void stop();
  /// The same, and waits for the thread.
  void end();

 private:
  using Done = tl::expected<void, Answer>;
  void work();
  [[nodiscard]] Done decode();
  [[nodiscard]] Done reserve(std::int64_t bytes);
  [[nodiscard]] Done is_unchanged() const;
  template <class Ready>
  [[nodiscard]] Done wait_until(std::unique_lock<std::mutex>& lock, Ready ready) const;

  const std::string path_, mark_, folder_;
  const AskForRoom room_;
  std::atomic<bool> stop_{false};
  std::atomic<std::int64_t> bytes_{0}, unwritten_{0};

  mutable std::mutex mutex_;
  mutable std::condition_variable changed_;
  std::optional<audio::StreamFormat> format_;
  std::optional<std::int64_t> frames_;
  std::int64_t decoded_ = 0;
  bool ended_ = false;
  std::optional<Answer> trouble_;
  std::optional<double> loudness_;
  Powers a_powers_;

  std::once_flag joined_;
  std::thread thread_;
};

}  // namespace sendworthy::desk
