#include "delivery/hand_off.h"

#include <filesystem>
#include <system_error>

namespace sendworthy::delivery {

std::vector<std::string> own_files(const Order& order) {
  std::vector<std::string> own;
  for (const auto name : {kManifestName, kSha256Name, kMd5Name, kNoteName, kPageName}) own.emplace_back(name);
  std::error_code error;
  const auto folder = std::filesystem::weakly_canonical(order.folder.empty() ? "." : order.folder, error);
  if (error) return own;
  const auto file = std::filesystem::weakly_canonical(order.path, error);
  if (error) return own;
  const auto relative = file.lexically_relative(folder).string();
  if (!relative.empty() && !relative.starts_with("..")) own.push_back(relative);
  return own;
}

}  // namespace sendworthy::delivery
