#include "desk/tasks.h"

#include <sendworthy/catalog.h>
#include <sendworthy/compare.h>
#include <sendworthy/deliver.h>
#include <sendworthy/listening.h>
#include <sendworthy/song.h>

#include <algorithm>
#include <array>
#include <filesystem>
#include <system_error>
#include <utility>

#include "base/os.h"
#include "base/replace.h"
#include "base/table.h"
#include "base/text.h"
#include "check/copies.h"
#include "desk/listening_pass.h"
#include "desk/shown_paths.h"
#include "desk/within.h"
#include "pair/copies.h"
#include "sheet/pair_words.h"
#include "song/to_listen.h"

namespace sendworthy::desk {
namespace {

constexpr std::array<std::string_view, 6> kAllForms{"html", "json", "jsonl", "txt", "csv", "xml"};
constexpr std::array<std::string_view, 3> kFormsOfPairs{"html", "json", "txt"};

std::string file_name_of(const std::string& path) { return path.substr(path.rfind('/') + 1); }

/// Below the folder of the plan or order, where it lies there.
std::string below(const std::string& home, const std::string& path) {
  const auto folder = base::folder_of(home);
  return path.size() > folder.size() && path.starts_with(folder) ? path.substr(folder.size()) : path;
}

std::vector<std::string> paths_of(const Sheet& sheet) {
  std::vector<std::string> paths;
  for (const auto& file : sheet.files) paths.push_back(file.path);
  return paths;
}

std::string copies_in(const TaskRoom& room) { return room.folder + "/f/"; }

bool stopped(const CheckHooks& hooks) { return hooks.stop != nullptr && hooks.stop->load(); }

class CheckOfFiles final : public Task {
 public:
  CheckOfFiles(std::vector<FileToCheck> files, std::vector<RuleSet> rule_sets) {
    files_ = std::move(files);
    rule_sets_ = std::move(rule_sets);
  }
  [[nodiscard]] std::string_view kind() const override { return "files"; }
  [[nodiscard]] std::span<const std::string_view> forms() const override { return kAllForms; }
  [[nodiscard]] bool lists_its_files() const override { return true; }
  [[nodiscard]] bool has_more_to_do() const override { return false; }

  Result<TaskEnd> run(const TaskRoom& room, const CheckHooks& hooks) override {
    std::vector<std::string> paths;
    for (const auto& file : files_) paths.push_back(file.path);
    auto options = room.options;
    options.pictures = true;
    TaskEnd end;
    end.sheet = check_copies(paths, copies_in(room), rule_sets_, options, hooks);
    end.paths = show_paths(*end.sheet, room.folder);
    end.verdict = end.sheet->verdict;
    return end;
  }
};

std::optional<double> loudness_of(const FileSheet& file) {
  const auto found = std::ranges::find(file.measurements, "integrated_loudness", &Measurement::key);
  return found == file.measurements.end() ? std::nullopt : number(found->outcome);
}

Json edit_json(const Pair::Edit& edit) {
  Json json{{"old_start_s", edit.old_start_s}, {"old_end_s", edit.old_end_s}, {"new_start_s", edit.new_start_s}, {"new_end_s", edit.new_end_s}};
  if (edit.level_db) json["level_db"] = *edit.level_db;
  json["words"] = base::clean_utf8(sheet::words_of(edit));
  return json;
}

class Comparison final : public Task {
 public:
  Comparison(FileToCheck old_file, FileToCheck new_file, std::vector<RuleSet> rule_sets) {
    files_.push_back(std::move(old_file));
    files_.push_back(std::move(new_file));
    rule_sets_ = std::move(rule_sets);
  }
  [[nodiscard]] std::string_view kind() const override { return "compare"; }
  [[nodiscard]] std::span<const std::string_view> forms() const override { return kFormsOfPairs; }
  [[nodiscard]] bool lists_its_files() const override { return true; }
  [[nodiscard]] bool has_more_to_do() const override { return true; }
  /// Bounces mostly have one name.
  [[nodiscard]] std::string folder_for(const FileToCheck& file, const std::string& laid) const override {
    if (files_[0].upload.empty() || files_[1].upload.empty()) return laid;
    auto folder = laid + (&file == &files_[0] ? "/old" : "/new");
    std::error_code ignored;  // laying it there will say so
    std::filesystem::create_directory(folder, ignored);
    return folder;
  }

  Result<TaskEnd> run(const TaskRoom& room, const CheckHooks& hooks) override {
    TaskEnd end;
    end.sheet = compare_copies(files_[0].path, files_[1].path, copies_in(room), rule_sets_, room.options, hooks);
    keep_only_failures(*end.sheet);
    end.paths = show_paths(*end.sheet, room.folder);
    if (end.sheet->pairs.empty()) {
      end.verdict = Verdict::fail;
      return end;
    }
    const auto& pair = end.sheet->pairs.front();
    end.told["identical"] = is_identical(pair);
    end.told["summary"] = base::clean_utf8(sheet::summary_of(pair));
    end.pair = told_of(pair, end);
    return end;
  }

 private:
  [[nodiscard]] Json told_of(const Pair& pair, const TaskEnd& end) const {
    const auto part_of = [&](const FileToCheck& file) {
      return static_cast<std::size_t>(std::ranges::find(end.paths, file.path) - end.paths.begin());
    };
    const auto old_at = part_of(files_[0]), new_at = part_of(files_[1]);
    Json json;
    json["old_part"] = old_at + 1;
    json["new_part"] = new_at + 1;
    // Of both numbers this one is on the frame where the bounce is, and counts in the new file's own time.
    json["offset_s"] = pair.new_rate > 0 ? pair.offset_frames / pair.new_rate : 0.0;
    json["speed"] = pair.speed;
    const auto old_loudness = loudness_of(end.sheet->files[old_at]), new_loudness = loudness_of(end.sheet->files[new_at]);
    const bool both = old_loudness && new_loudness;
    if (old_loudness) json["old_lufs"] = *old_loudness;
    if (new_loudness) json["new_lufs"] = *new_loudness;
    json["old_gain_db"] = both ? std::min(0.0, *new_loudness - *old_loudness) : 0.0;
    json["new_gain_db"] = both ? std::min(0.0, *old_loudness - *new_loudness) : 0.0;
    json["identical"] = is_identical(pair);
    json["kind"] = to_string(pair.kind);
    json["aligned"] = pair.aligned;
    json["summary"] = base::clean_utf8(sheet::summary_of(pair));
    json["edits"] = Json::array();
    for (const auto& edit : pair.edits) json["edits"].push_back(edit_json(edit));
    json["edits_total"] = pair.edits_total;
    return json;
  }
};

class CheckOfPlan final : public Task {
 public:
  CheckOfPlan(const Folder& folder, const song::Plan& plan, std::vector<RuleSet> rule_sets) : folder_(folder), plan_(plan.path) {
    rule_sets_ = std::move(rule_sets);
    files_.push_back({plan.mix, below(plan_, plan.mix), {}});
    for (const auto& stem : plan.stems) files_.push_back({stem.file, below(plan_, stem.file), {}});
  }
  [[nodiscard]] std::string_view kind() const override { return "plan"; }
  [[nodiscard]] std::span<const std::string_view> forms() const override { return kAllForms; }
  [[nodiscard]] bool lists_its_files() const override { return false; }
  [[nodiscard]] bool has_more_to_do() const override { return true; }
  [[nodiscard]] std::string name_of(const std::string& path) const override { return below(plan_, path); }

  Result<TaskEnd> run(const TaskRoom& room, const CheckHooks& hooks) override {
    // Somebody may have written into it since it was asked for.
    const auto plan = plan_within(folder_, plan_);
    if (!plan) return tl::unexpected(plan.error());
    const auto before = base::state_of(plan->mix);
    auto sheet = check_plan(plan_, {room.options, rule_sets_}, hooks);
    if (!sheet) return tl::unexpected(sheet.error());
    TaskEnd end;
    end.paths = paths_of(*sheet);
    end.verdict = sheet->verdict;
    if (!stopped(hooks)) listen(*plan, *sheet, before, room.options, hooks, end);
    end.sheet = std::move(*sheet);
    return end;
  }

 private:
  void listen(const song::Plan& plan, const Sheet& sheet, const std::optional<base::FileState>& before, const CheckOptions& options, const CheckHooks& hooks,
              TaskEnd& end) const {
    auto asked = song::to_listen(plan_, sheet, before, options, hooks);
    if (!asked) {
      end.no_listening = to_string(asked.error());
      return;
    }
    const auto part = static_cast<std::size_t>(std::ranges::find(end.paths, plan.mix) - end.paths.begin()) + 1;
    end.listening = std::make_shared<ListeningPass>(folder_, std::move(*asked), part);
  }

  const Folder& folder_;
  const std::string plan_;
};

class CheckOfOrder final : public Task {
 public:
  CheckOfOrder(const Folder& folder, const OrderWithin& order, RuleSetFolders rule_folders)
      : folder_(folder), order_(order.order.path), rule_folders_(std::move(rule_folders)) {
    for (const auto& path : order.files) files_.push_back({path, below(order_, path), {}});
  }
  [[nodiscard]] std::string_view kind() const override { return "order"; }
  [[nodiscard]] std::span<const std::string_view> forms() const override { return kAllForms; }
  [[nodiscard]] bool lists_its_files() const override { return false; }
  [[nodiscard]] bool has_more_to_do() const override { return true; }
  [[nodiscard]] std::string name_of(const std::string& path) const override { return below(order_, path); }

  Result<TaskEnd> run(const TaskRoom& room, const CheckHooks& hooks) override {
    if (const auto order = order_within(folder_, order_); !order) return tl::unexpected(order.error());
    OrderOptions options{room.options, rule_folders_};
    options.check.pictures = true;
    auto sheet = check_order(order_, options, hooks);
    if (!sheet) return tl::unexpected(sheet.error());
    TaskEnd end;
    end.paths = paths_of(*sheet);
    end.verdict = sheet->verdict;
    for (const auto& item : sheet->order->items) {
      if (item.required && item.files.empty()) end.told["missing"].push_back(base::clean_utf8(below(order_, item.wanted)));
    }
    end.sheet = std::move(*sheet);
    return end;
  }

 private:
  const Folder& folder_;
  const std::string order_;
  const RuleSetFolders rule_folders_;
};

class MakingOfPlan final : public Task {
 public:
  MakingOfPlan(const Folder& folder, NewPlanWish wish, const std::vector<std::string>& stems) : folder_(folder), wish_(std::move(wish)) {
    files_.push_back({wish_.mix, file_name_of(wish_.mix), {}});
    for (const auto& stem : stems) {
      if (stem != wish_.mix) files_.push_back({stem, file_name_of(stem), {}});
    }
  }
  [[nodiscard]] std::string_view kind() const override { return "new plan"; }
  [[nodiscard]] std::span<const std::string_view> forms() const override { return {}; }
  [[nodiscard]] bool lists_its_files() const override { return true; }
  [[nodiscard]] bool has_more_to_do() const override { return true; }

  Result<TaskEnd> run(const TaskRoom& room, const CheckHooks& hooks) override {
    if (!wish_.stems.empty()) {
      if (const auto stems = sounds_within(folder_, wish_.stems); !stems) return tl::unexpected(stems.error());
    }
    const auto text = new_plan(wish_.mix, {wish_.stems, wish_.plan, room.options.jobs}, hooks);
    TaskEnd end;
    if (stopped(hooks)) return end;
    if (!text) return tl::unexpected(text.error());
    const auto written = base::write_new(wish_.plan, *text);
    if (!written) return tl::unexpected(written.error());
    if (!*written)
      return fail(ErrorCode::output, "\"" + base::for_terminal(wish_.shown_plan) + "\" is there by now: a plan holds what somebody wrote into it, so it is not replaced; name another file");
    end.made = true;
    put_path(end.told, wish_.shown_plan, "plan", "plan_id");
    return end;
  }

 private:
  const Folder& folder_;
  const NewPlanWish wish_;
};

}  // namespace

std::string Task::name_of(const std::string& path) const { return file_name_of(path); }

std::string Task::folder_for(const FileToCheck& /*file*/, const std::string& laid) const { return laid; }

std::unique_ptr<Task> check_of_files(std::vector<FileToCheck> files, std::vector<RuleSet> rule_sets) {
  return std::make_unique<CheckOfFiles>(std::move(files), std::move(rule_sets));
}

std::unique_ptr<Task> comparison(FileToCheck old_file, FileToCheck new_file, std::vector<RuleSet> rule_sets) {
  return std::make_unique<Comparison>(std::move(old_file), std::move(new_file), std::move(rule_sets));
}

Result<std::unique_ptr<Task>> check_of_plan(const Folder& folder, const std::string& plan, std::vector<RuleSet> rule_sets) {
  const auto read = plan_within(folder, plan);
  if (!read) return tl::unexpected(read.error());
  return std::make_unique<CheckOfPlan>(folder, *read, std::move(rule_sets));
}

Result<std::unique_ptr<Task>> check_of_order(const Folder& folder, const std::string& order, const RuleSetFolders& folders) {
  const auto read = order_within(folder, order);
  if (!read) return tl::unexpected(read.error());
  return std::make_unique<CheckOfOrder>(folder, *read, folders);
}

Result<std::unique_ptr<Task>> making_of_plan(const Folder& folder, NewPlanWish wish) {
  std::vector<std::string> stems;
  if (!wish.stems.empty()) {
    auto found = sounds_within(folder, wish.stems);
    if (!found) return tl::unexpected(found.error());
    stems = std::move(*found);
  }
  return std::make_unique<MakingOfPlan>(folder, std::move(wish), stems);
}

}  // namespace sendworthy::desk
