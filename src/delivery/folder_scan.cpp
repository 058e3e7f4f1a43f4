#include "delivery/folder_scan.h"

#include "audio/audio_names.h"

namespace sendworthy::delivery {
namespace {

constexpr int kMaxDepth = 64;
constexpr std::size_t kMaxFiles = 1'000'000;

struct Task {
  std::string path;
  int depth = 0;
};

}  // namespace

FolderScan scan_folder(const std::string& folder, bool recursive, base::FolderEvents* events) {
  FolderScan scan;
  std::vector<Task> tasks{{folder, 0}};
  while (!tasks.empty()) {
    const auto task = std::move(tasks.back());
    tasks.pop_back();
    const bool is_top = task.depth == 0;
    if (events != nullptr) {
      using Links = base::FolderEvents::Links;
      const auto added = events->add(task.path, is_top ? Links::followed : Links::refused);
      if (!added && added.error().code == ErrorCode::unreadable) scan.no_events = added.error().text;
    }
    const auto entries = base::list_folder(task.path);
    if (!entries) {
      if (is_top) {
        scan.missing = true;
        scan.why_missing = entries.error().text;
      } else if (entries.error().code != ErrorCode::missing) {
        scan.passed_over.emplace_back(task.path, entries.error().text);
      }
      continue;
    }
    scan.folders.insert(task.path);
    const auto prefix = task.path.ends_with('/') ? task.path : task.path + "/";
    for (const auto& entry : *entries) {
      using Kind = base::FolderEntry::Kind;
      const auto path = prefix + entry.name;
      if (entry.kind == Kind::file && audio::named_like_audio(entry.name)) {
        if (entry.link) {
          scan.passed_over.emplace_back(path, "\"" + path + "\" is a link and is not followed; put the file itself there");
        } else if (scan.files.size() >= kMaxFiles) {
          scan.passed_over.emplace_back(folder, "\"" + folder + "\" holds more than " + std::to_string(kMaxFiles) +
                                                    " audio files; watch a smaller folder");
          return scan;
        } else {
          scan.files.emplace_back(path, entry.stamp);
        }
      }
      if (entry.kind == Kind::other && audio::named_like_audio(entry.name)) {
        scan.passed_over.emplace_back(path, "\"" + path + "\" is named like audio and is " +
                                                (entry.link ? "a link to no file" : "a pipe, a socket or a device") + ", so it is not looked at; put a file there");
      }
      // Links to folders are not followed: they lead out of the folder, or in circles.
      if (entry.kind == Kind::folder && recursive && !entry.link) {
        if (task.depth >= kMaxDepth) {
          scan.passed_over.emplace_back(path, "\"" + path + "\" is not watched: folders are nested deeper than " +
                                                  std::to_string(kMaxDepth));
        } else {
          tasks.push_back({path, task.depth + 1});
        }
      }
    }
  }
  return scan;
}

}  // namespace sendworthy::delivery
