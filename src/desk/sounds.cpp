#include "desk/sounds.h"

#include <algorithm>
#include <utility>
#include <vector>

namespace sendworthy::desk {

std::shared_ptr<Sound> Sounds::look_up(std::string_view mark) {
  const auto found = std::find_if(all_.begin(), all_.end(), [&](const auto& sound) { return sound->mark() == mark; });
  if (found == all_.end()) return nullptr;
  all_.splice(all_.begin(), all_, found);
  return *found;
}

/// Takes out the one that was asked for longest ago among those that fit and that nobody has in hand. It goes with the last hand: never
/// under our lock, since its own thread may wait for that.
template <class Fits>
std::shared_ptr<Sound> Sounds::take_idle(Fits fits) {
  for (auto one = all_.end(); one != all_.begin();) {
    --one;
    if (one->use_count() > 1 || !fits(**one)) continue;
    auto taken = std::move(*one);
    all_.erase(one);
    return taken;
  }
  return nullptr;
}

tl::expected<std::shared_ptr<Sound>, Answer> Sounds::get(const std::string& path, std::string_view mark) {
  const auto now = mark_of(path);
  if (!now) return tl::unexpected(refusal(404, "gone", "the file is not there any more; put it back, or load the folder again"));
  if (!mark.empty() && mark != *now)
    return tl::unexpected(refusal(409, "changed", "the file was written to meanwhile; open it again to hear what it is now"));
  std::vector<std::shared_ptr<Sound>> let_go;  // outlives the lock
  const std::lock_guard lock(mutex_);
  if (ending_) return tl::unexpected(refusal(503, "ending", "the program is ending; start the page again"));
  if (auto found = look_up(*now)) {
    if (!found->failed()) return found;
    // Whoever asks again gets another try.
    all_.pop_front();
    let_go.push_back(std::move(found));
  }
  const auto running = std::count_if(all_.begin(), all_.end(), [](const auto& sound) { return !sound->ended(); });
  if (static_cast<std::size_t>(running) >= limits_.at_once) {
    let_go.push_back(take_idle([](const Sound& sound) { return !sound.ended(); }));
    if (!let_go.back()) return tl::unexpected(refusal(503, "too_many", "too many sounds are being decoded already; wait for one of them"));
    let_go.back()->stop();
  }
  if (all_.size() >= limits_.kept) {
    if (auto oldest = take_idle([](const Sound& sound) { return sound.ended(); })) let_go.push_back(std::move(oldest));
  }
  const auto folder = scratch_.path() + "/s" + std::to_string(++last_);
  all_.push_front(std::make_shared<Sound>(path, *now, folder, [this](std::int64_t bytes) { return make_room(bytes); }));
  return all_.front();
}

std::shared_ptr<Sound> Sounds::find(const std::string& path) {
  const auto now = mark_of(path);
  if (!now) return nullptr;
  const std::lock_guard lock(mutex_);
  return look_up(*now);
}

Sound::Room Sounds::make_room(std::int64_t bytes) {
  for (;;) {
    std::shared_ptr<Sound> oldest;
    auto short_of = Sound::Room::there;
    {
      const std::lock_guard lock(mutex_);
      std::int64_t total = bytes, still_to_come = bytes;
      for (const auto& sound : all_) total += sound->bytes(), still_to_come += sound->unwritten();
      if (ending_) return Sound::Room::disk;
      if (total > limits_.total_bytes) short_of = Sound::Room::limit;
      else if (scratch_.free_bytes() - still_to_come < limits_.free_bytes) short_of = Sound::Room::disk;
      else return Sound::Room::there;
      oldest = take_idle([](const Sound& sound) { return sound.ended(); });
    }
    if (!oldest) return short_of;
  }
}

void Sounds::end() {
  std::list<std::shared_ptr<Sound>> all;
  {
    const std::lock_guard lock(mutex_);
    ending_ = true;
    all.swap(all_);
  }
  for (const auto& sound : all) sound->stop();
  for (const auto& sound : all) sound->end();
}

}  // namespace sendworthy::desk
