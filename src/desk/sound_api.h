// What the page may ask of sound: a file's samples and shape, how it is to be heard, and for how long something was played.
#pragma once

#include <atomic>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>

#include "desk/answer.h"
#include "desk/checks.h"
#include "desk/folder.h"
#include "desk/json.h"
#include "desk/played.h"
#include "desk/sounds.h"
#include "desk/target.h"

namespace sendworthy::desk {

/// Which file is meant: one of the opened folder, or one of a check's sheet.
struct SoundSource {
  std::string path;      ///< relative, any bytes
  std::string check;     ///< with `part`
  std::size_t part = 0;  ///< from 1; 0: `path` counts
};

/// How many may wait for sounds at once.
inline constexpr int kMostAsking = 24;

/// Safe to use from several threads.
class SoundApi {
 public:
  /// All must outlive this object.
  SoundApi(const Folder& folder, const Checks& checks, Sounds& sounds, PlayedTime& played) : folder_(folder), checks_(checks), sounds_(sounds), played_(played) {}

  /// api/sound, and what is below it. `range`: the header of that name, empty where there is none.
  [[nodiscard]] Answer get(const Target& target, std::string_view range);
  /// api/played.
  [[nodiscard]] Answer played() const;
  [[nodiscard]] Answer add_played(std::string_view body);
  /// What the page is told of hearing at first.
  void put_state(Json& state) const;

 private:
  [[nodiscard]] Answer facts(const Target& target, const Sound& sound) const;
  [[nodiscard]] Answer wave(const std::shared_ptr<Sound>& sound, std::string_view range) const;
  [[nodiscard]] Answer outline(const Target& target, const Sound& sound) const;
  void remember(const SoundSource& source, const Sound::Head& head);
  [[nodiscard]] std::optional<double> length_of(const SoundSource& source);
  [[nodiscard]] tl::expected<std::string, Answer> path_of(const SoundSource& source) const;

  const Folder& folder_;
  const Checks& checks_;
  Sounds& sounds_;
  PlayedTime& played_;
  std::atomic<int> asking_{0};
  std::mutex opened_mutex_;
  std::map<std::string, double> opened_;  ///< how long what was opened here is, s; whatever became of it meanwhile
};

/// What was played, as the page tells it.
struct PlayedWish {
  SoundSource source;
  double from_s = 0, to_s = 0;  ///< of the file
  double seconds = 0;           ///< really played
  double gain_db = 0;           ///< at most 0
};
/// {"source": {"path"|"id"} or {"check","part"}, "from_s", "to_s", "seconds", "gain_db"}. Error: usage.
[[nodiscard]] Result<PlayedWish> read_played(std::string_view body);

/// A stretch [from, to) of bytes.
struct ByteRange {
  std::int64_t from = 0, to = 0;
};
/// What a Range header is to be answered with.
enum class RangeAnswer {
  whole,  ///< it is empty, no range, or several stretches, which need not be answered: as if it were not there (RFC 9110, 14.2)
  part,
  none,   ///< it asks for nothing that is there
};
struct AskedRange {
  RangeAnswer answer = RangeAnswer::whole;
  ByteRange range;  ///< of a part
};
/// `bytes`: how many there are, more than 0.
[[nodiscard]] AskedRange range_of(std::string_view header, std::int64_t bytes);

}  // namespace sendworthy::desk
