#include "base/bounds.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <climits>
#include <memory>
#include <mutex>
#include <optional>
#include <utility>

#include "base/unfinished.h"

namespace sendworthy::base {
namespace {

using Folders = std::shared_ptr<const std::vector<std::string>>;

std::mutex mutex;
Folders& all() {
  static Folders folders;
  return folders;
}

Folders bounds() {
  const std::lock_guard lock(mutex);
  return all();
}

std::string way_to(int descriptor) { return "/proc/self/fd/" + std::to_string(descriptor); }

/// Where it lies right now, without links. Of what was removed meanwhile: where it lay.
std::optional<std::string> place_of(int descriptor) {
  std::array<char, PATH_MAX + 1> path;
  const auto size = ::readlink(way_to(descriptor).c_str(), path.data(), path.size());
  if (size <= 0 || static_cast<std::size_t>(size) >= path.size() || path[0] != '/') return std::nullopt;
  return std::string(path.data(), static_cast<std::size_t>(size));
}

bool is_below(std::string_view path, std::string_view folder) {
  return path == folder || folder == "/" || (path.starts_with(folder) && path[folder.size()] == '/');
}

}  // namespace

Bounds::Bounds(std::vector<std::string> folders) {
  const std::lock_guard lock(mutex);
  all() = std::make_shared<const std::vector<std::string>>(std::move(folders));
}

Bounds::~Bounds() {
  const std::lock_guard lock(mutex);
  all().reset();
}

bool lies_in_bounds(int descriptor) {
  const auto folders = bounds();
  if (!folders) return true;
  const auto place = place_of(descriptor);
  return place && std::ranges::any_of(*folders, [&](const auto& folder) { return is_below(*place, folder); });
}

Result<HeldFolder> HeldFolder::of(const std::string& path) {
  if (path.empty() || path.find('\0') != std::string::npos) return cannot_write(path, "that is no file name");
  if (!bounds()) return HeldFolder(-1, path);
  const auto slash = path.rfind('/');
  const auto folder = slash == std::string::npos ? std::string(".") : path.substr(0, slash + 1);
  HeldFolder held(open_retrying(folder.c_str(), O_PATH | O_DIRECTORY), {});
  if (held.descriptor_ < 0) return cannot_write(path, reason(errno));
  if (!lies_in_bounds(held.descriptor_)) return cannot_write(path, std::string(kOutOfBounds));
  held.file_ = way_to(held.descriptor_) + "/" + path.substr(slash == std::string::npos ? 0 : slash + 1);
  return held;
}

HeldFolder::HeldFolder(HeldFolder&& other) noexcept : descriptor_(std::exchange(other.descriptor_, -1)), file_(std::move(other.file_)) {}

HeldFolder::~HeldFolder() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

}  // namespace sendworthy::base
