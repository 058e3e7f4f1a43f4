#include "desk/events.h"

#include <utility>

#include "base/text.h"
#include "desk/json.h"

namespace sendworthy::desk {
namespace {

constexpr auto kLookEvery = std::chrono::seconds(1);
constexpr auto kSpeakEvery = std::chrono::seconds(15);

std::string event(std::string_view name, const Json& data) {
  // What is written has no line end but its last.
  return "event: " + std::string(name) + "\ndata: " + written(data) + "\n";
}

std::optional<Folder::Listing> looked_at(const Folder& folder, const std::string& path) {
  auto listing = folder.list(path);
  if (!listing) return std::nullopt;
  return std::move(*listing);
}

}  // namespace

Events::Events(const Checks& checks, const Folder& folder, std::optional<std::string> watched)
    : checks_(checks), folder_(folder), watched_(std::move(watched)), looked_(Clock::now()), spoke_(Clock::now()) {
  if (watched_) listing_ = looked_at(folder_, *watched_);
}

std::string Events::next(double wait_s) {
  std::string text;
  const auto changes = checks_.changes(since_, wait_s);
  since_ = changes.until;
  for (const auto& check : changes.checks) text += event("check", check);
  for (const auto& id : changes.removed) text += event("removed", {{"check", id}});
  const auto now = Clock::now();
  if (watched_ && now - looked_ >= kLookEvery) {
    looked_ = now;
    if (auto listing = looked_at(folder_, *watched_); listing != listing_) {
      listing_ = std::move(listing);
      text += event("folder", {{"path", base::clean_utf8(*watched_)}});
    }
  }
  if (text.empty() && now - spoke_ >= kSpeakEvery) text = ": still here\n\n";
  if (!text.empty()) spoke_ = now;
  return text;
}

}  // namespace sendworthy::desk
