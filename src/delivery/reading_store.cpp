// Readings as files: <folder>/<key>, each one line of kind, one of key, one of checksum, and then the readings.
#include <fmt/format.h>

#include <algorithm>
#include <exception>
#include <mutex>

#include <sendworthy/store.h>

#include "base/hash.h"
#include "base/private_folder.h"
#include "delivery/readings.h"

namespace sendworthy {
namespace {

constexpr std::string_view kKind = "sendworthy readings 1\n";
constexpr std::size_t kKeyDigits = 64, kHashDigits = 32;
constexpr std::size_t kHead = kKind.size() + kKeyDigits + 1 + kHashDigits + 1;
constexpr std::size_t kLargest = 16u << 20;  // hours of series of many channels stay far below

bool is_key(std::string_view text) {
  return text.size() == kKeyDigits && text.find_first_not_of("0123456789abcdef") == text.npos;
}

// Over the key as well: an entry under another name than its own is as damaged as any.
std::string checksum(std::string_view key, std::string_view body) {
  base::Hash128 hash;
  hash.add(key);
  hash.add(body);
  return hash.hex();
}

std::optional<Readings> unpacked(std::string_view entry, std::string_view key) {
  if (entry.size() < kHead) return std::nullopt;
  const auto body = entry.substr(kHead);
  if (entry.substr(0, kHead) != fmt::format("{}{}\n{}\n", kKind, key, checksum(key, body))) return std::nullopt;
  return delivery::read(body);
}

class FolderStore final : public ReadingStore {
 public:
  FolderStore(base::PrivateFolder folder, std::uint64_t bytes) : folder_(std::move(folder)), most_(static_cast<double>(bytes)) {}
  FolderStore(const FolderStore&) = delete;
  FolderStore& operator=(const FolderStore&) = delete;
  // What other runs put in meanwhile is not known to this one before it looks.
  ~FolderStore() override {
    try {
      if (held_) make_room();
    } catch (const std::exception&) {
    }
  }

  std::optional<Readings> find(const std::string& key) override {
    if (!is_key(key)) return std::nullopt;
    const auto entry = folder_.read(key, kLargest);
    if (!entry) return std::nullopt;
    auto readings = unpacked(*entry, key);
    if (!readings) folder_.remove(key);
    return readings;
  }

  void keep(const std::string& key, const Readings& readings) override {
    if (!is_key(key)) return;
    const auto body = delivery::written(readings);
    const auto entry = fmt::format("{}{}\n{}\n", kKind, key, checksum(key, body)) + body;
    // One that would push out much of the rest is not worth it.
    if (entry.size() > kLargest || static_cast<double>(entry.size()) > most_ / 4) return;
    if (!folder_.write(key, entry)) return;
    const std::lock_guard lock(mutex_);
    if (held_) *held_ += static_cast<double>(entry.size());
    if (!held_ || *held_ > most_) make_room();
  }

 private:
  void make_room() {
    auto items = folder_.items();
    std::erase_if(items, [](const auto& item) { return !is_key(item.name); });
    double held = 0;
    for (const auto& item : items) held += static_cast<double>(item.bytes);
    if (held > most_) {
      std::ranges::sort(items, [](const auto& a, const auto& b) { return std::pair(a.used_ns, a.name) < std::pair(b.used_ns, b.name); });
      // A little more than needed, so that the next one does not have to look again.
      constexpr double kLeft = 0.9;
      for (const auto& item : items) {
        if (held <= kLeft * most_) break;
        folder_.remove(item.name);
        held -= static_cast<double>(item.bytes);
      }
    }
    held_ = held;
  }

  const base::PrivateFolder folder_;
  const double most_;
  std::mutex mutex_;
  std::optional<double> held_;  ///< bytes in the folder as far as this run knows; nothing before it first looked
};

}  // namespace

std::unique_ptr<ReadingStore> open_reading_store(const std::string& folder, std::uint64_t bytes) {
  auto opened = base::PrivateFolder::open(folder);
  if (!opened) return nullptr;
  return std::make_unique<FolderStore>(std::move(*opened), bytes);
}

}  // namespace sendworthy
