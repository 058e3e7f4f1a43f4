#include "delivery/hand_off.h"

#include <filesystem>
#include <system_error>

namespace sendworthy::delivery {

std::optional<std::string> order_below(const Order& order) {
  std::error_code error;
  const auto folder = std::filesystem::weakly_canonical(order.folder.empty() ? "." : order.folder, error);
  if (error) return std::nullopt;
  const auto file = std::filesystem::weakly_canonical(order.path, error);
  if (error) return std::nullopt;
  auto relative = file.lexically_relative(folder).string();
  if (relative.empty() || relative.starts_with("..")) return std::nullopt;
  return relative;
}

std::vector<std::string> own_files(const Order& order) {
  std::vector<std::string> own;
  for (const auto name : {kManifestName, kSha256Name, kMd5Name, kNoteName, kPageName}) own.emplace_back(name);
  if (auto below = order_below(order)) own.push_back(std::move(*below));
  return own;
}

sheet::SentFile::Kind kind_of_own(std::string_view name) {
  if (name == kSha256Name || name == kMd5Name) return sheet::SentFile::Kind::sums;
  if (name == kNoteName || name == kPageName) return sheet::SentFile::Kind::note;
  return sheet::SentFile::Kind::other;
}

}  // namespace sendworthy::delivery
