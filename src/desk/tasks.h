// What a check of the page does once its turn comes: what it reads, how, and what comes of it. One kind of task, one way.
#pragma once

#include <sendworthy/check.h>

#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "desk/folder.h"
#include "desk/json.h"

namespace sendworthy::desk {

class ListeningPass;

struct FileToCheck {
  std::string path;    ///< to be read
  std::string name;    ///< to be shown
  std::string upload;  ///< of uploads: the id, whose file is to be laid ready; then `path` is empty
  std::string relative = {};  ///< below the opened folder, as the page may ask for it again; empty where nobody asked for it by its path
};

/// What a task is given once its turn comes.
struct TaskRoom {
  CheckOptions options;
  std::string folder;  ///< the check's own; copies of uploads lie in its folder "f"
};

/// What came of a task.
struct TaskEnd {
  std::optional<Sheet> sheet;      ///< paths as they are shown
  std::vector<std::string> paths;  ///< where the sound of each of its files lies
  std::optional<Verdict> verdict;
  Json told = Json::object();      ///< what is told of the check besides
  bool made = false;               ///< a file was written: a stop came too late
  std::optional<Json> pair;        ///< of two bounces
  std::shared_ptr<ListeningPass> listening;
  std::string no_listening;        ///< why there is none, of a plan
};

class Task {
 public:
  Task() = default;
  Task(const Task&) = delete;
  Task& operator=(const Task&) = delete;
  virtual ~Task() = default;

  [[nodiscard]] virtual std::string_view kind() const = 0;
  /// The endings of the forms in which its sheet can be had.
  [[nodiscard]] virtual std::span<const std::string_view> forms() const = 0;
  /// What is read, as far as that is known beforehand. Checks lays uploads ready and fills in where.
  [[nodiscard]] std::vector<FileToCheck>& files() { return files_; }
  /// Into which folder below `laid` an upload is to be laid; made where it is not there.
  [[nodiscard]] virtual std::string folder_for(const FileToCheck& file, const std::string& laid) const;
  [[nodiscard]] const std::vector<RuleSet>& rule_sets() const { return rule_sets_; }
  /// The plan or the order that it holds files against, as a path below the opened folder; empty for files alone.
  [[nodiscard]] const std::string& against() const { return against_; }
  void hold_against(std::string path) { against_ = std::move(path); }
  /// Whether the files of its sheet are those it was asked for, as they were asked for; else they are known from the sheet.
  [[nodiscard]] virtual bool lists_its_files() const = 0;
  /// Whether more is done once every file was read.
  [[nodiscard]] virtual bool has_more_to_do() const = 0;
  /// Not called again. An end that was stopped says nothing. Errors: what makes that there is no sheet at all.
  [[nodiscard]] virtual Result<TaskEnd> run(const TaskRoom& room, const CheckHooks& hooks) = 0;
  /// How a file of its sheet is called on the page.
  [[nodiscard]] virtual std::string name_of(const std::string& path) const;

 protected:
  std::vector<FileToCheck> files_;
  std::vector<RuleSet> rule_sets_;
  std::string against_;
};

/// Files, each by itself.
[[nodiscard]] std::unique_ptr<Task> check_of_files(std::vector<FileToCheck> files, std::vector<RuleSet> rule_sets);
/// Two bounces, the old one first.
[[nodiscard]] std::unique_ptr<Task> comparison(FileToCheck old_file, FileToCheck new_file, std::vector<RuleSet> rule_sets);
/// `plan`: a path as Folder::path_of writes it. Errors: those of a plan; unreadable where it names what lies outside of the folder,
/// which must outlive the task.
[[nodiscard]] Result<std::unique_ptr<Task>> check_of_plan(const Folder& folder, const std::string& plan, std::vector<RuleSet> rule_sets);
/// The same for an order, with the folders in which it looks for rule sets.
[[nodiscard]] Result<std::unique_ptr<Task>> check_of_order(const Folder& folder, const std::string& order, const RuleSetFolders& folders);

struct NewPlanWish {
  std::string mix, stems, plan;  ///< paths as Folder::path_of writes them; `stems` may be empty
  std::string shown_plan;        ///< the path that the page is told
};
/// Writes a plan that is not there. Errors: unreadable where a stem lies outside of the folder.
[[nodiscard]] Result<std::unique_ptr<Task>> making_of_plan(const Folder& folder, NewPlanWish wish);

}  // namespace sendworthy::desk
